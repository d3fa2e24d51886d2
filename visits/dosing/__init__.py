"""What a label allows: how much to mix and use, what to mind, when to come back.

Pure: no Django, no clock, no settings, no database. All amounts are exact fractions; they are
rounded only when they are shown (``showing``). Runs in a notebook::

    >>> from fractions import Fraction
    >>> from visits.dosing.doses import dose
    >>> from visits.dosing.label import Active, Cover, Label, RateLine
    >>> from visits.dosing.showing import shown_most
    >>> from visits.dosing.units import Quantity
    >>> line = RateLine(
    ...     per="area", of="active", most=Fraction(2), unit="g", per_amount=Fraction(1),
    ...     per_unit="m2", cover=Cover(Fraction(40), "ml", Fraction(1), "m2"),
    ... )
    >>> powder = Label(
    ...     name="Demo powder W", formulation="other",
    ...     actives=(Active("bendiocarb", Fraction(75), "w/w"),), rates=(line,),
    ... )
    >>> tank = dose(line, powder, Quantity(Fraction(8), "l"))
    >>> tank.product_most.amount
    Fraction(1600, 3)
    >>> shown_most(tank.product_most)
    '533 g'

The product in the example is invented, and so is its rate. The label and the safety data sheet come
first; local law and the licensed technician decide. docs/algorithms/dosing.md has the steps.
"""
