"""What every crew must know, in own words: practice of the trade; figures without a source are said to have none."""

from __future__ import annotations

from gravegis.outputs.paper import sized

__all__ = [
    "BEFORE", "BLANKS", "DO_NOT_START", "GRADES", "MATCH", "READ", "READ_PT", "STOP_AND_CALL", "STRONG", "TO_WRITE",
]  # fmt: skip

READ_PT = 11.0
"""Size of all a crew works by: asked for by people with wet gloves. [pt]"""
READ, STRONG = sized(READ_PT), sized(READ_PT, bold=True)

STOP_AND_CALL = (
    "It moves, or leans more than noted",
    "Grains, flakes, hollow sound, open crack",
    "Paint, gold, inlay, portrait, lead, metal",
    "The stone is not the one described",
    "A colour that is not the growth's own",
    "Something buried, or human remains",
    "Anyone objects",
    "The film dries before you can brush",
    "Stone hot to the hand, or below 5 °C",
    "A nest, a snake, broken glass; thunder",
)
BEFORE = (
    ("Never alone:", "two people in sight, always. Minors handle no chemicals."),
    ("Unstable stones:", "nobody stands, kneels, sits or eats where a stone could fall. Do not lean on it, rock or "
     "test it. This sheet does not say that a stone may be leaned on."),
    ("Heat:", "drink, rest in the shade. Never wet a stone that is hot to the hand."),
    ("Cold:", "no wet work below 5 °C or with frost due in 24 to 48 h (common practice, no source)."),
    ("Thunder:", "at the first one stop, go indoors or into a vehicle; wait 30 min after the last."),
    ("Ground and animals:", "look before you reach or step: hollow or wet ground, glass, vehicles, snakes, insects."),
    ("Water:", "20 L weigh 20 kg: cart it. Rinse only with water known as drinking water."),
    ("Cleaner:", "the label of the product decides: strength, time, gloves, goggles, first aid. Never with bleach or "
     "soap. Keep it out of drains and ponds."),
)  # fmt: skip
GRADES = "How bad: 0 none, 1 minor, 2 moderate, 3 major"
BLANKS = ("Ambulance: address", "Gate and where it is", "First aid, eyewash", "Nearest help, phone")
TO_WRITE = ("Who worked today", "Water used, where from", "Stops not done, and why", "Found beneath or elsewhere")
DO_NOT_START = "do not start work by this sheet, ask for a new one."
MATCH = "Compare before you touch. If a stone does not match: stop, photograph, ask."
