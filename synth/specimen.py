"""One perfect dial and its parts, without wear, light or camera."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from dialtell.synth.design.design import Chapter, DialDesign, SubDial, Track
from dialtell.synth.making import Making, make
from dialtell.synth.shared.srgb import codes
from dialtell.synth.shared.terms import ZONES, Process
from dialtell.synth.strokes.hand_style import ORDINARY, HandStyle, Workshop
from dialtell.synth.strokes.photographic import Exposure
from dialtell.synth.strokes.plate import Plate
from dialtell.synth.strokes.stroke import Floats
from dialtell.synth.strokes.transfer import Pull, taken

Photo = NDArray[np.uint8]

ENAMEL = 0.85  # reflectance

# an engraver's hand, between apprentice and master as sample_hand_style places it at steadiness 0.8
ENGRAVER = HandStyle(
    wobble=0.38, tremor_um=5.1, hook=0.0044, width_scatter=0.053, end_scatter=0.013, overshoot=0.0, junction_gap=0.011,
    angle_deg=0.78, slant_deg=0.0, place=0.0125, height_scatter=0.0225, tick_place=0.018, dot_scatter=0.086,
)  # fmt: skip


def specimen() -> DialDesign:
    """The dial the parts are taken from."""
    track = Track(
        inner=0.915, outer=0.96, rings=(True, False), ring_mm=0.08, divisions=60, tick_mm=0.13, heavy_mm=0.45, every=5,
        mark="dot", short=1.0, blocked=False, taper=0.0, halves="nothing", figures_every=0,
        figures_letterform="arabic-plain", figures_height=0.05, figures_at=0.8, figures_start=60, ink=0,
    )  # fmt: skip
    small = replace(
        track, inner=0.84, outer=0.95, rings=(True, True), ring_mm=0.07, tick_mm=0.07, heavy_mm=0.12, mark="tick",
        figures_every=10, figures_height=0.2, figures_at=0.68,
    )  # fmt: skip
    chapter = Chapter(
        letterform="roman-heavy", hours=12, height=0.22, outer=0.87, radial=True, turned=False, thick=0.15, thin=0.025,
        ink=0, bent=True,
    )  # fmt: skip
    return DialDesign(
        radius_mm=22.0, inks=("black",), density=1.4, chapter=chapter, track=track,
        subdials=(SubDial(0.0, 0.5, 0.24, small),), signature=(), centre_ring=0.0, seconds_bit=True,
    )  # fmt: skip


def plain_making(process: Process) -> Making:
    """Everything perfect: a hand without deviations, a machine-cut plate, a faultless pull and print."""
    perfect = ORDINARY.scaled(0.0)
    pull = Pull(
        shift_mm=(0.0, 0.0), turn_deg=0.0, stretch=0.0, stretch_angle=0.0, slip_mm=(0.0, 0.0), slip_share=0.0,
        inking=0.0, pinholes=0.0, pinhole_mm=0.03, bare=(), tears=(), roughness_um=0.0, seed=3,
    )  # fmt: skip
    return Making(
        processes=(process,) * len(ZONES),
        workshop=Workshop(perfect, perfect, perfect, seed=1),
        plate=Plate(engraver=ENGRAVER, scatter=0.0, widen=0.0, punched=False, seed=2),
        pull=pull,
        exposure=Exposure(grain_mm=0.015, edge_grains=0.0, spread_mm=0.0, specks=0.0, mottle=0.0, placing=pull, seed=4),
    )


def part(
    design: DialDesign, making: Making, middle_x: float, middle_y: float, side: float, px: int, *, turn: float = 0.0
) -> Photo:
    """A square part of the dial, `side` mm wide, as (px, px, 3) sRGB: black paint on white enamel in even light.

    turn : radians clockwise, of the dial's direction that runs to the right in the picture from the dial's own right.
    """
    c, s = px / side * np.cos(turn), px / side * np.sin(turn)
    across, down = c * middle_x + s * middle_y, c * middle_y - s * middle_x
    matrix = np.array([[c, s, 0.5 * px - across], [-s, c, 0.5 * px - down], [0.0, 0.0, 1.0]])
    light: Floats = np.full((px, px), ENAMEL)
    for coat in make(design, making):
        share, density = coat.lay(matrix, (px, px))
        if coat.film:
            share *= taken(making.pull, design.radius_mm, matrix, (px, px))
        light *= 1.0 - share + share * np.power(10.0, -density)
    return np.repeat(codes(light)[..., None], 3, axis=2)
