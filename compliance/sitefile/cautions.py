"""Cautions that stand on every paper that shows a product, an amount or a method.

Own words, after: US FDA Food Code 2022, 7-202.12 and 7-206.12; US CDC, cleaning up after rodents
(2008); university extension pages on dusts, sprays and re-entry. Checked again for each release.
"""

LABEL_FIRST = (
    "The product label and the safety data sheet come first. Local law and the licensed "
    "technician decide. Amounts and methods in this paper record what was done; they are not "
    "advice, and nobody may apply a product on the strength of them."
)

STANDING = (
    "Dust stays a thin film inside cracks and voids, away from open light fittings, air vents, "
    "food and anything that food touches; air handling stays off while it is applied.",
    "No spray on or near live electrical equipment or an open flame.",
    "Food, utensils and linen are removed or covered before treatment, and surfaces that food "
    "touches are cleaned before they are used again. Nobody is served while a place is treated.",
    "Treated places stay closed until they are dry and aired, and for the time on the label.",
    "Bait stands in locked, labelled stations out of reach of children and animals; spilled bait "
    "is cleaned up at once.",
    "Voids, ladders and roofs are entered only with a safe way out and somebody who knows.",
    "Droppings are never swept or vacuumed dry: air the room, soak them with disinfectant, wipe up "
    "with gloves on.",
)
