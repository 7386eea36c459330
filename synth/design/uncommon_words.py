"""Uncommon lettering, all invented: arcs below the centre, dedications of several lines, words at the rim."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from dialtell.synth.design.design import DialDesign, Line, Variety
from dialtell.synth.design.fitting import drawn_in, is_free, room_inside
from dialtell.synth.design.makers import invent_maker, invent_name, invent_town
from dialtell.synth.letterforms.glyph import letterform
from dialtell.synth.shared.groundwork import PLAIN

EDGE = 0.98  # radius at which lettering at the rim ends


def line_of(
    text: str,
    height: float,
    *,
    variety: Variety,
    rng: np.random.Generator,
    room: float,
    y: float = 0.0,
    x: float = 0.0,
    arc: float = 0.0,
) -> Line:
    """A line in one of the variety's letterings (figures for digits), at most `room` wide."""
    form = str(rng.choice(np.array(variety.arabic if text.isdigit() else variety.lettering)))
    if form.endswith("capitals"):
        text = text.upper()
    usual = letterform(form)
    height *= 1.3 if form == "round-script" else 1.0
    tracking = float(rng.uniform(0.0, 0.12)) if form != "round-script" else 0.0
    height *= min(1.0, room / (height * usual.measure(text, tracking=tracking)))
    heavy = float(np.exp(rng.normal(0.0, 0.15)))
    return Line(
        text, form, height, y, arc, usual.thick * heavy, min(usual.thin, 0.9 * usual.thick) * heavy, tracking, 0, x
    )


def lettering(design: DialDesign, rng: np.random.Generator, variety: Variety) -> DialDesign | None:
    """One of the kinds that suit the design; a number at the rim suits all."""
    free_below = not design.subdials and design.ground == PLAIN and room_inside(design) > 0.42
    free_below &= design.spiral is None and not any(ring.at < room_inside(design) for ring in design.rings)
    kind = str(rng.choice(np.array(["arc", "dedication", "rim", "parted"])))
    if free_below and kind == "parted" and len(design.signature) == 2:
        return _parted(design)
    if free_below and kind == "arc":
        return _arc_below(design, rng, variety)
    if free_below and kind == "dedication" and design.centre_ring == 0.0:
        return _dedication(design, rng, variety)
    return _at_the_rim(design, rng, variety)


def _arc_below(design: DialDesign, rng: np.random.Generator, variety: Variety) -> DialDesign:
    """The town, or another line, along the feet of the figures below the centre."""
    room = room_inside(design)
    height = float(rng.uniform(0.04, 0.06))
    at = min(room, design.centre_ring or room) - 0.035
    line = line_of(invent_town(rng=rng), height, variety=variety, rng=rng, room=1.2 * at, arc=-at)
    if line.letterform == "round-script":  # joined letters stand on straight lines
        line = replace(line, arc=0.0, y=0.62 * at)
    return replace(design, signature=(*design.signature, line))


def _parted(design: DialDesign) -> DialDesign:
    """The maker above the centre, the town as far below it."""
    above, town = design.signature
    room = min(room_inside(design), design.centre_ring or 1.0)
    y = min(-above.y + 0.5 * town.height, room - 0.09)
    wide = town.height * letterform(town.letterform).measure(town.text, tracking=town.tracking)
    limit = 1.8 * float(np.sqrt(max(room**2 - y**2, 0.01)))
    town = replace(town, y=y, arc=0.0, height=town.height * min(1.3, limit / wide))
    return replace(design, signature=(above, town))


def _dedication(design: DialDesign, rng: np.random.Generator, variety: Variety) -> DialDesign:
    """Several small lines below the centre: names, a town, a year."""
    room = room_inside(design)
    texts = [invent_name(rng=rng), invent_maker(rng=rng), invent_town(rng=rng)][: int(rng.integers(1, 4))]
    texts.append(str(int(rng.integers(1790, 1931))))
    height = float(rng.uniform(0.03, 0.045))
    pitch = height * float(rng.uniform(1.8, 2.2))
    top = float(rng.uniform(0.2, 0.26))
    lines = []
    for index, text in enumerate(texts):
        y = top + index * pitch
        if y + 0.03 < room - 0.05:
            wide = 1.7 * float(np.sqrt(room**2 - (y + 0.02) ** 2))
            lines.append(line_of(text, height, variety=variety, rng=rng, room=wide, y=y))
    return replace(design, signature=(*design.signature, *lines))


def _at_the_rim(design: DialDesign, rng: np.random.Generator, variety: Variety) -> DialDesign | None:
    """A number, or two words on either side of 6, small along the rim below."""
    high = float(rng.uniform(0.014, 0.02))
    rim = EDGE - 1.6 * high
    drawn = drawn_in(design, rim - 0.01)
    ringed = any(ring.x == 0 and ring.y == 0 and ring.at > 0.88 for ring in design.rings) or design.further_tracks
    if ringed or (drawn != design and not is_free(design)):
        return None
    design = drawn
    number = str(int(rng.integers(100, 99999)))
    if rng.random() < 0.5:
        return replace(design, edge=(line_of(number, high, variety=variety, rng=rng, room=0.4, arc=-EDGE),))
    text = f"{invent_name(rng=rng)}  {invent_name(rng=rng)}"
    line = line_of(text, high, variety=variety, rng=rng, room=0.5, arc=-EDGE)
    return replace(design, edge=(line,))
