"""Lasting work against carrying on treating: what each way costs over the years.

Pure: no Django, no clock, no settings. Money is ``Decimal`` in one currency; time is whole months
counted from the day of the decision. Explained with an example in docs/algorithms/two-ways.md.
"""
