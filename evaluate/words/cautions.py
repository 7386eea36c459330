"""The cautions that go with every result, in one place, so that page, table and documents say the same."""

from __future__ import annotations

OPINION = "An opinion from a photograph is not an authentication and not an appraisal."
CONFIRM = (
    "Have it confirmed on the dial itself, under magnification, by a qualified watchmaker, conservator or "
    "appraiser before you buy, sell, insure or describe a watch."
)
PROCESS = (
    "The call is about how the design was put on the enamel. It says nothing about who made the watch, when, "
    "what it is worth, or whether dial and movement belong together. It only guesses whether the dial is fired "
    "enamel, and does not check whether the work is original, retouched or restored."
)
LEAVE_ALONE = "Do not scrape, touch up or clean a dial with solvent in order to test it."
HAZARDS = (
    "Old enamel can contain lead and arsenic, and luminous paint on later dials can contain radium: keep the "
    "crystal closed and follow local rules."
)
SYNTHETIC = (
    "The net has learned from drawn dials, not from photographs of real ones. Its numbers hold for such "
    "dials; on real ones they are a guide."
)

CAUTIONS: tuple[str, ...] = (OPINION, CONFIRM, PROCESS, SYNTHETIC, LEAVE_ALONE, HAZARDS)

# What closes a table on a terminal.
CLOSING = f"{OPINION} {CONFIRM} {LEAVE_ALONE} {HAZARDS}"
