"""A page that shows what each parameter of a stroke does: one part of one dial, in a row of growing strengths.

All deviations but the one named are switched off. The part is drawn as reflectance alone: no wear, light or camera.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from PIL import Image, ImageDraw, ImageFont

from dialtell.synth.making import Making
from dialtell.synth.shared.terms import Process
from dialtell.synth.specimen import Photo, part, plain_making, specimen
from dialtell.synth.strokes.hand_style import Workshop

CELL = 200  # px, side of a part
GAP, HEAD, FOOT = 8, 20, 16  # px between parts, above a row, under each part
COLUMNS = 2  # rows stand side by side in so many columns
PAPER, INK = 248, 30

# parts of the dial: middle (x, y) and side, mm
FIGURE = (-8.3, -14.4, 5.6)  # XI
TRACK = (5.4, -18.0, 12.6)  # from twelve to one, with the dots at both ends
TICKS = (4.35, -20.4, 5.0)  # three of its ticks, free at their outer ends
RING = (3.2, 7.6, 4.6)  # upper right of the seconds bit


@dataclass(frozen=True)
class CueRow:
    """One parameter. owner : hand, plate, pull or exposure. values : its strengths. part : middle and side, mm.

    also : other parameters of the same owner that the effect needs.
    """

    owner: str
    name: str
    meaning: str
    values: tuple[float, ...]
    part: tuple[float, float, float]
    also: tuple[tuple[str, float], ...] = ()


ROWS = (
    CueRow("hand", "thin_fade", "density a thin stroke loses, share of D", (0, 0.15, 0.3, 0.5, 0.7), FIGURE),
    CueRow("hand", "runout", "density lost as the brush runs dry, share of D", (0, 0.15, 0.3, 0.5, 0.8), FIGURE),
    CueRow("hand", "load_scatter", "density between strokes, SD as share of D", (0, 0.08, 0.15, 0.25, 0.4), TRACK),
    CueRow("hand", "flow", "density along a stroke, RMS as share of D", (0, 0.06, 0.12, 0.2, 0.4), FIGURE),
    CueRow("hand", "swell", "width along a stroke, RMS as share of width", (0, 0.05, 0.1, 0.2, 0.35), FIGURE),
    CueRow("hand", "width_scatter", "width between strokes, SD of ln", (0, 0.05, 0.1, 0.2, 0.4), TRACK),
    CueRow("hand", "press", "leaning on the outer end of ticks, ln of widths", (-0.8, -0.3, 0, 0.3, 0.8), TICKS),
    CueRow("hand", "press_scatter", "that between strokes, SD", (0, 0.06, 0.12, 0.25, 0.5), TICKS),
    CueRow("hand", "broad_mm", "strokes broader than this are filled outlines, mm", (0.15, 0.25, 0.4, 0.6, 1.0), FIGURE,
        (("wobble", 1.8), ("tremor_um", 22))),
    CueRow("hand", "wobble", "RMS off the line of a 3 mm stroke, % of length", (0, 0.5, 0.9, 1.8, 3.5), FIGURE),
    CueRow("hand", "tremor_um", "RMS of tremor, micrometres", (0, 5, 11, 22, 44), FIGURE),
    CueRow("hand", "hook", "hook at the ends, share of length", (0, 0.01, 0.02, 0.04, 0.08), FIGURE),
    CueRow("hand", "overshoot",
           "run past the guide, share of height (guides shown)", (-0.04, 0, 0.02, 0.04, 0.08), FIGURE,
        (("guide_lines", 0.12),)),
    CueRow("hand", "end_scatter", "end points, SD as share of height", (0, 0.01, 0.02, 0.04, 0.08), FIGURE),
    CueRow("hand", "junction_gap", "gap where strokes meet, share of height", (0, 0.01, 0.03, 0.06, 0.12), FIGURE),
    CueRow("hand", "round_end", "rounding of ends, share of half the width", (0, 0.35, 0.7, 1.0, 1.5), TICKS),
    CueRow("hand", "taper", "share of ends that run out to a point", (0, 0.2, 0.4, 0.7, 1.0), TICKS),
    CueRow("hand", "pool", "paint pooled at an end, share", (0, 0.1, 0.2, 0.4, 0.8), FIGURE, (("thin_fade", 0.35),)),
    CueRow("hand", "retouch", "share of strokes gone over again", (0, 0.05, 0.15, 0.3, 0.6), FIGURE,
        (("thin_fade", 0.5), ("coat", 0.8))),
    CueRow("hand", "angle_deg", "angle between strokes, SD in degrees", (0, 0.7, 1.5, 3.0, 6.0), TRACK),
    CueRow("hand", "tick_place", "place of a tick, SD as share of the spacing", (0, 0.015, 0.05, 0.1, 0.2), TRACK),
    CueRow("hand", "dot_scatter", "size of dots, SD of ln", (0, 0.07, 0.15, 0.3, 0.6), TRACK),
    CueRow("hand", "ring_width", "width of a ring round the turn, RMS share", (0, 0.06, 0.12, 0.25, 0.5), RING),
    CueRow("hand", "ring_density", "density of a ring round the turn, RMS share", (0, 0.05, 0.1, 0.25, 0.5), RING),
    CueRow("hand", "ring_load", "density between rings, SD of ln", (0, 0.1, 0.2, 0.35, 0.7), RING),
    CueRow("hand", "ring_wave", "radius of a ring, RMS share of radius", (0, 0.001, 0.003, 0.01, 0.03), RING),
    CueRow("hand", "guide_lines", "density of guide circles left, D", (0, 0.03, 0.06, 0.1, 0.2), FIGURE),
    CueRow("plate", "scatter", "of a good engraver's hand, share", (0, 0.3, 0.6, 1.0, 1.5), FIGURE),
    CueRow("plate", "widen", "added to every width, mm", (-0.02, 0, 0.01, 0.03, 0.06), FIGURE),
    CueRow("pull", "slip_mm", "doubled edge, mm", (0, 0.02, 0.04, 0.08, 0.15), FIGURE, (("slip_share", 0.5),)),
    CueRow("pull", "pinholes", "holes a square centimetre", (0, 10, 25, 50, 100), FIGURE, (("pinhole_mm", 0.05),)),
    CueRow("pull", "roughness_um", "edge unevenness, RMS in micrometres", (0, 2, 4, 8, 16), TICKS),
    CueRow("exposure", "grain_mm", "grain of the powder, mm", (0.008, 0.015, 0.02, 0.028, 0.035), TICKS,
        (("edge_grains", 0.6), ("mottle", 0.05))),
    CueRow("exposure", "spread_mm", "spread of every edge, mm", (-0.015, -0.007, 0, 0.01, 0.02), TICKS),
    CueRow("exposure", "specks", "stray grains a millimetre", (0, 0.5, 1, 2, 3), TICKS, (("grain_mm", 0.025),)),
)  # fmt: skip


def making_of(row: CueRow, value: float) -> Making:
    """The making with one parameter at `value` and all else perfect."""
    plain = plain_making({"hand": Process.HAND, "exposure": Process.PHOTOGRAPHIC}.get(row.owner, Process.TRANSFER))
    changes = {**dict(row.also), row.name: value}
    if row.owner == "hand":
        style = replace(plain.workshop.figures, **changes)
        return replace(plain, workshop=Workshop(style, style, style, seed=1))
    if row.name == "slip_mm":
        slip = (0.8 * value, 0.6 * value)
        return replace(plain, pull=replace(plain.pull, slip_mm=slip, slip_share=changes["slip_share"]))
    return replace(plain, **{row.owner: replace(getattr(plain, row.owner), **changes)})


def cue_page(rows: tuple[CueRow, ...] = ROWS) -> Photo:
    """All rows with name, value and unit; (H, W, 3) uint8."""
    design = specimen()
    most = max(len(row.values) for row in rows)
    block_wide, block_high = most * (CELL + GAP), HEAD + CELL + FOOT + GAP
    down = -(-len(rows) // COLUMNS)
    columns = min(COLUMNS, len(rows))
    page = np.full((down * block_high + GAP, columns * (block_wide + 2 * GAP), 3), PAPER, dtype=np.uint8)
    texts: list[tuple[float, float, str, str]] = []
    for number, row in enumerate(rows):
        column, line = divmod(number, down)
        left, top = GAP + column * (block_wide + 2 * GAP), GAP + line * block_high
        texts.append((left, top + 2, f"{row.owner}.{row.name}: {row.meaning}", "la"))
        for place, value in enumerate(row.values):
            x, y = left + place * (CELL + GAP), top + HEAD
            page[y : y + CELL, x : x + CELL] = part(design, making_of(row, value), *row.part, CELL)
            texts.append((x + CELL / 2, y + CELL + 1, f"{value:g}", "ma"))
    image = Image.fromarray(page)
    draw, font = ImageDraw.Draw(image), ImageFont.load_default(size=13)
    for text_x, text_y, text, anchor in texts:
        draw.text((text_x, text_y), text, fill=(INK, INK, INK), font=font, anchor=anchor)
    return np.asarray(image)
