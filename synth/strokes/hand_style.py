"""One painter's hand as named parameters, and how it is drawn from steadiness.

Ranges: measured from pens on paper where the comment says "measured" (medians of ordinary hands, UNIPEN train_r01_v07,
CC BY 4.0, International Unipen Foundation; see DEVELOPERS.md), judgement for trained painters otherwise.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np

from dialtell.synth.shared.errors import require_range


@dataclass(frozen=True)
class HandStyle:
    """How one person sets paint down. Shares are of stroke length, figure height or full width as said."""

    # --- the line ---
    # values that, drawn and measured as the pens were (test_hand_statistics), give the medians measured: once ends are
    # trimmed, a line fitted and tremor added, 1.1 % reads as 0.9 and a growth of 0.75 as 0.67
    wobble: float = 1.1  # RMS off a straight line, % of length for a 3 mm stroke; painter 0.3..0.5
    wobble_growth: float = 0.75  # RMS in mm grows with length to this power
    wobble_scatter: float = 0.66  # SD of ln RMS between strokes (measured 0.65..0.75)
    wobble_slope: float = 3.0  # power of the mode k (k/2 cycles a stroke) falls as k to minus this (2.5..4)
    tremor_um: float = 11.0  # RMS of 8..12 Hz tremor, micrometres (measured 5..22; painter 3..15)
    tremor_mm: float = 0.9  # wavelength of tremor = pen speed / frequency, mm (0.4..1.8)
    hook: float = 0.04  # SD of end hooks off the line, share of length (draws medians of 0.017; measured 0.02 and 0.03)
    # --- width ---
    width_scatter: float = 0.10  # SD of ln width between strokes that ought to be the same (0.02..0.25)
    swell: float = 0.08  # RMS width change along one stroke, share of width (0.01..0.25)
    press: float = 0.1  # habit of leaning on a tick's or thin stroke's outer end: ln of end over start (-0.5..0.5)
    press_scatter: float = 0.12  # SD of that between strokes (0.03..0.3)
    broad_mm: float = 0.25  # strokes broader than this are outlined and filled: their edges are held (0.2..0.4)
    # --- paint ---
    thin_fade: float = 0.35  # density lost by an infinitely thin stroke, share of full density (0..0.9)
    fade_width: float = 0.16  # mm; width at which 1/e of that loss is left (0.06..0.3)
    runout: float = 0.15  # density lost at the end of a long stroke as the brush runs dry (0..0.5)
    runout_mm: float = 5.0  # length over which it runs dry, mm (2..15)
    load_scatter: float = 0.08  # SD of density between strokes, share (0..0.25)
    flow: float = 0.06  # RMS density change along one stroke, share (0..0.2)
    pool: float = 0.10  # density and width gained where the brush rests at the end, share (0..0.4)
    coat: float = 0.5  # density a second coat adds where strokes cross, share of the first (0..1)
    retouch: float = 0.03  # share of strokes gone over a second time in part (0..0.25)
    # --- ends ---
    round_end: float = 0.8  # length of the rounded end, share of half the width (0 square..1.2)
    taper: float = 0.25  # share of stroke ends made in motion, that run out to a point (0..0.7)
    end_scatter: float = 0.035  # SD of end points along the stroke, share of figure height (painter 0.01..0.02)
    overshoot: float = 0.0  # mean run past the guide line, share of figure height (-0.02..0.05)
    junction_gap: float = 0.03  # gap where strokes should meet, share of height (measured 0.04..0.06; painter 0.01..)
    # --- placing ---
    angle_deg: float = 1.9  # SD of angle of items that ought to be parallel, degrees (draws 2.1, as measured)
    slant_deg: float = 0.0  # constant slant, degrees (painter 1..3 either way)
    place: float = 0.03  # SD of figure position each way, share of its height (0.005..0.06)
    height_scatter: float = 0.07  # SD of ln height (measured 0.06..0.09; painter 0.02..0.04)
    tick_place: float = 0.05  # SD of a tick's place along the track, share of the tick spacing (0.005..0.1)
    dot_scatter: float = 0.15  # SD of ln dot size, and of the ratio of its axes (0.03..0.35)
    # --- rings, turned on a small lathe ---
    ring_wave: float = 0.001  # RMS radius error, share of radius, long waves only (0..0.01)
    ring_width: float = 0.12  # RMS width change round the turn, share (0.02..0.35)
    ring_density: float = 0.10  # RMS density change round the turn, share (0.02..0.4)
    ring_load: float = 0.15  # SD of ln density between the rings of one dial, each with its own load (0.05..0.35)
    ring_overlap_deg: float = 6.0  # overlap where the ring closes, degrees (0..20)
    ring_step_mm: float = 0.01  # radial step at the closing, mm (0..0.05)
    # --- the tools ---
    brush: float = 1.0  # size of the brushes, a watch painter's 1; ends are rounded, outlines held by it (1..6)
    # --- layout lines ---
    guide_lines: float = 0.0  # density of guide circles left visible (0..0.15); 0 none

    def __post_init__(self) -> None:
        for name, (low, high) in RANGES.items():
            require_range(f"HandStyle.{name}", getattr(self, name), low, high)

    def scaled(self, jitter: float) -> HandStyle:
        """The same hand with every deviation from a perfect stroke times `jitter` (0 none .. 4 clumsy)."""
        require_range("jitter", jitter, 0.0, 4.0)
        changed = {}
        for name in SCALED:
            low, high = RANGES[name]
            changed[name] = float(np.clip(getattr(self, name) * jitter, low, high))
        return replace(self, **changed)

    def sized(self, radius_mm: float) -> HandStyle:
        """The same hand on a dial of that radius. A hand strays by millimetres, whatever it draws, and a clock's layout
        is measured out, so there the shares of height fall; its large strokes are laid with brushes that fit them. On
        watches nothing changes.
        """
        require_range("radius_mm", radius_mm, 1.0, 2000.0, "mm")
        scale = max(1.0, radius_mm / WATCH_MM)
        factors = dict.fromkeys(SHARES, scale**-HELD) | dict.fromkeys(BRUSH, scale**FITTED)
        return replace(
            self,
            **{name: float(np.clip(getattr(self, name) * by, *RANGES[name])) for name, by in factors.items()},
        )


WATCH_MM = 25.0  # radius of the largest dial that is painted with a watch's brushes
HELD = 0.7  # a share of size falls with size to this power: ten times as large strays twice as far (judgement)
FITTED = 0.8  # brushes grow with the dial to this power (judgement: a clock's are not ten times a watch's)
SHARES = (
    "wobble", "hook", "end_scatter", "overshoot", "junction_gap", "angle_deg", "place", "height_scatter", "ring_wave",
)  # fmt: skip
BRUSH = ("brush", "broad_mm", "fade_width", "runout_mm")

# the widest value each parameter may take; typical ranges stand beside the fields
RANGES: dict[str, tuple[float, float]] = {
    "wobble": (0, 6), "wobble_growth": (0, 1), "wobble_scatter": (0, 1.5), "wobble_slope": (1.5, 5),
    "tremor_um": (0, 60), "tremor_mm": (0.1, 3), "hook": (0, 0.1), "width_scatter": (0, 0.6), "swell": (0, 0.5),
    "press": (-1.5, 1.5), "press_scatter": (0, 0.8), "broad_mm": (0.1, 6.0), "ring_load": (0, 0.8),
    "thin_fade": (0, 0.9), "fade_width": (0.02, 4.0), "runout": (0, 0.8), "runout_mm": (0.5, 200),
    "load_scatter": (0, 0.5), "flow": (0, 0.4), "pool": (0, 0.8), "coat": (0, 1.5), "retouch": (0, 0.6),
    "round_end": (0, 1.6), "taper": (0, 1), "end_scatter": (0, 0.15), "overshoot": (-0.08, 0.15),
    "junction_gap": (0, 0.15), "angle_deg": (0, 10), "slant_deg": (-8, 8), "place": (0, 0.15),
    "height_scatter": (0, 0.25), "tick_place": (0, 0.3), "dot_scatter": (0, 0.8), "ring_wave": (0, 0.03),
    "ring_width": (0, 0.8), "ring_density": (0, 0.8), "ring_overlap_deg": (0, 60), "ring_step_mm": (0, 0.2),
    "guide_lines": (0, 0.3), "brush": (0.5, 20),
}  # fmt: skip

SCALED = tuple(
    name
    for name in (field.name for field in fields(HandStyle))
    if name
    not in {
        "wobble_growth",
        "wobble_scatter",
        "wobble_slope",
        "tremor_mm",
        "fade_width",
        "runout_mm",
        "broad_mm",
        "brush",
    }
)

ORDINARY = HandStyle()


def _between(rng: np.random.Generator, apprentice: float, master: float, steadiness: float, spread: float) -> float:
    """A value between apprentice and master (geometric), with log-normal scatter of `spread`."""
    middle = np.log(apprentice) * (1 - steadiness) + np.log(master) * steadiness
    return float(np.exp(middle + spread * rng.standard_normal()))


def sample_hand_style(*, rng: np.random.Generator, steadiness: float, spread: float = 0.35) -> HandStyle:
    """One painter.

    steadiness : 0 apprentice .. 1 master; the parameters scatter about it, since nobody is steady in all at once.
    spread : SD of ln of each parameter about its place between apprentice and master.
    """
    require_range("steadiness", steadiness, 0.0, 1.0)

    def at(name: str, apprentice: float, master: float) -> float:
        low, high = RANGES[name]
        return float(np.clip(_between(rng, apprentice, master, steadiness, spread), low, high))

    return HandStyle(
        wobble=at("wobble", 0.9, 0.25),
        wobble_scatter=float(rng.uniform(0.45, 0.75)),
        wobble_slope=float(rng.uniform(2.8, 3.7)),
        tremor_um=at("tremor_um", 12.0, 3.0),
        tremor_mm=float(rng.uniform(0.4, 1.8)),
        hook=at("hook", 0.02, 0.003),
        width_scatter=at("width_scatter", 0.16, 0.04),
        swell=at("swell", 0.13, 0.035),
        press=float(np.clip(rng.normal(0.0, 0.22), -0.7, 0.7)),
        press_scatter=at("press_scatter", 0.2, 0.06),
        broad_mm=float(rng.uniform(0.2, 0.4)),
        # a bead of wet paint is as thick as its width and contact angle let it: 0.1 mm at 20 to 30 degrees carries 4 to
        # 6 um of colour once fired, a flooded stem 15 to 30 (judgement); real painted tracks are that much fainter
        thin_fade=float(np.clip(rng.normal(0.72, 0.15), 0.05, 0.9)),
        fade_width=float(rng.uniform(0.09, 0.28)),
        runout=float(np.clip(rng.normal(0.16, 0.10), 0.0, 0.5)),
        runout_mm=float(rng.uniform(2.0, 12.0)),
        load_scatter=at("load_scatter", 0.12, 0.04),
        flow=at("flow", 0.10, 0.03),
        pool=float(np.clip(rng.normal(0.10, 0.08), 0.0, 0.4)),
        coat=float(rng.uniform(0.1, 0.9)),
        retouch=at("retouch", 0.06, 0.015),
        round_end=float(rng.uniform(0.35, 1.1)),
        taper=float(rng.uniform(0.05, 0.5)),
        end_scatter=at("end_scatter", 0.035, 0.010),
        overshoot=float(rng.normal(0.0, 0.012)),
        junction_gap=at("junction_gap", 0.035, 0.008),
        angle_deg=at("angle_deg", 2.2, 0.6),
        slant_deg=float(rng.normal(0.0, 1.2)),
        place=at("place", 0.030, 0.010),
        height_scatter=at("height_scatter", 0.055, 0.018),
        tick_place=at("tick_place", 0.05, 0.014),
        dot_scatter=at("dot_scatter", 0.20, 0.07),
        ring_wave=at("ring_wave", 0.0012, 0.0003),
        ring_width=at("ring_width", 0.18, 0.06),
        ring_density=at("ring_density", 0.16, 0.05),
        ring_load=at("ring_load", 0.28, 0.10),
        ring_overlap_deg=float(rng.uniform(1.0, 14.0)),
        ring_step_mm=at("ring_step_mm", 0.018, 0.006),
        guide_lines=float(rng.uniform(0.02, 0.10)) if rng.random() < 0.3 else 0.0,
    )


@dataclass(frozen=True)
class Workshop:
    """Several people worked on one dial: rings and tracks, figures, and lettering with the smallest figures.

    seed : of every stroke's own deviations.
    """

    layout: HandStyle
    figures: HandStyle
    lettering: HandStyle
    seed: int

    def sized(self, radius_mm: float) -> Workshop:
        """The same people at a dial of that radius, mm; see HandStyle.sized."""
        layout, figures, lettering = (hand.sized(radius_mm) for hand in (self.layout, self.figures, self.lettering))
        return replace(self, layout=layout, figures=figures, lettering=lettering)


def sample_workshop(
    *, rng: np.random.Generator, steadiness: tuple[float, float] = (0.0, 1.0), jitter: float = 1.0
) -> Workshop:
    """Three hands; the best did the lettering (craft practice), the others range over `steadiness`."""
    low, high = steadiness
    # most dials that survive were painted by steady people (judgement)
    first, second, third = np.sort(low + (high - low) * rng.beta(2.4, 1.1, 3))
    if rng.random() < 0.3:  # one person did it all
        second = third = first
    layout, figures = (first, second) if rng.random() < 0.6 else (second, first)
    return Workshop(
        layout=sample_hand_style(rng=rng, steadiness=float(layout)).scaled(jitter),
        figures=sample_hand_style(rng=rng, steadiness=float(figures)).scaled(jitter),
        lettering=sample_hand_style(rng=rng, steadiness=float(third)).scaled(jitter),
        seed=int(rng.integers(2**31)),
    )
