"""Where a value lies among painted and among printed dials, as a small drawing of one's own: inline SVG without script.

Two lanes, painted above printed: a line from the 3rd to the 97th of a hundred dials, a bar over the middle half (plain
for painted, hatched for printed), a notch at the middle. A diamond and a line through both lanes mark this dial.
Lanes are named, so nothing rests on colour. Where a far value or a long tail would crush the bars, the axis is cut: two
slanting strokes mark the end, and what lies beyond stands there.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from markupsafe import Markup, escape
from numpy.typing import NDArray

Floats = NDArray[np.float64]

WIDTH, HEIGHT = 260, 62
_LEFT, _RIGHT = 48.0, 252.0
_LANES = (18.0, 36.0)  # middle of the painted, the printed lane
_HALF = 5.0
_SMALLEST = 1e-6
_MARGIN = 0.06  # of the range, left free at both ends
_CUT = "cut at "
_FAIR = 1 / 4  # of the axis, share that both middle halves together keep, less what the margin takes


def strip_plot(
    painted: Floats,
    printed: Floats,
    value: float,
    *,
    log: bool,
    says: Callable[[float], str],
    ends: Callable[[float], str],
    counts: tuple[int, int],
) -> Markup:
    """The drawing.

    painted, printed : sorted quantiles at the middles of equal shares, in the value's unit. log : compared by its
    logarithm. says : a number with its unit. ends : the same at the ends of the axis. counts : painted and printed
    dials behind the quantiles.
    """
    place, (low, high), cut = _axis(painted, printed, value, log)
    at = place(value)
    told = escape(_aria_text(painted, printed, value, says, counts) + _cut_told((low, high), cut, value, says))
    parts = [f'<svg class="strip" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" aria-label="{told}">']
    for quantiles, lane, name in zip((painted, printed), _LANES, ("painted", "printed"), strict=True):
        first, middle, last = np.quantile(quantiles, [0.25, 0.5, 0.75])
        left, right = place(first), place(last)
        style = "hand" if name == "painted" else "print"
        parts.append(
            f'<text x="{_LEFT - 5:g}" y="{lane + 4:g}" text-anchor="end">{name}</text>'
            f'<path class="reach" d="M{place(quantiles[0]):.1f} {lane:g}H{place(quantiles[-1]):.1f}"/>'
            f'<rect class="{style}" x="{left:.1f}" y="{lane - _HALF:g}" width="{max(right - left, 1.0):.1f}" '
            f'height="{2 * _HALF:g}"/>'
            f"{_hatch(left, right, lane) if style == 'print' else ''}"
            f'<path class="notch" d="M{place(middle):.1f} {lane - _HALF:g}v{2 * _HALF:g}"/>'
        )
    parts.append(
        f'<path class="value" d="M{at:.1f} 7V44"/><path class="mark" d="M{at:.1f} 1l5 5-5 5-5-5z"/>'
        f"{''.join(_break(x) for x, is_cut in zip((_LEFT + 6, _RIGHT - 6), cut, strict=True) if is_cut)}"
        f'<text class="end" x="{_LEFT:g}" y="{HEIGHT - 4}">{_CUT if cut[0] else ""}{escape(ends(low))}</text>'
        f'<text class="end" x="{_RIGHT:g}" y="{HEIGHT - 4}" text-anchor="end">{_CUT if cut[1] else ""}'
        f"{escape(ends(high))}</text></svg>"
    )
    return Markup("".join(parts))  # numbers of ours, and words escaped above


def _break(x: float) -> str:
    """Two slanting strokes through both lanes: the axis is cut here."""
    return f'<path class="break" d="M{x - 4:g} 46l4-38M{x:g} 46l4-38"/>'


def _hatch(left: float, right: float, lane: float) -> str:
    """Slanting strokes over a bar, cut off at its ends."""
    top, side, slant = lane - _HALF, 2 * _HALF, 6.0
    parts = []
    x = left - slant + 2.0
    while x < right:
        # from (x, bottom) up to (x + slant, top), clipped to left..right
        first, last = max(0.0, (left - x) / slant), min(1.0, (right - x) / slant)
        if last > first:
            parts.append(
                f"M{x + first * slant:.1f} {top + side * (1 - first):.1f}"
                f"L{x + last * slant:.1f} {top + side * (1 - last):.1f}"
            )
        x += 5.0
    return f'<path class="hatch" d="{"".join(parts)}"/>' if parts else ""


def _axis(
    painted: Floats, printed: Floats, value: float, log: bool
) -> tuple[Callable[[float], float], tuple[float, float], tuple[bool, bool]]:
    """From a value to x, the values at both ends of the axis, and which end is cut. The axis holds all quantiles and
    the value, unless the middle halves would keep less than a fair share of it."""

    def scaled(v: float) -> float:
        return math.log(max(v, _SMALLEST)) if log else v

    every = [*painted.tolist(), *printed.tolist(), value]
    if log:  # a spread of exactly 0 must not stretch the axis over decades
        above = [v for v in every if v > _SMALLEST]
        floor = 0.3 * min(above) if above else _SMALLEST
        every = [max(v, floor) for v in every]
    low, high = scaled(min(every)), scaled(max(every))
    halves = [scaled(max(v, min(every))) for q in (painted, printed) for v in np.quantile(q, [0.25, 0.75]).tolist()]
    low, high, cut = _kept(low, high, min(halves), max(halves))
    room = max(_MARGIN * (high - low), 1e-9 + 0.01 * abs(high))
    first = low if cut[0] else low - room
    if not log and min(every) >= 0.0:  # what cannot lie below nothing needs no room there
        first = max(first, 0.0)
    low, high = first, high if cut[1] else high + room

    def place(v: float) -> float:
        share = min(max((scaled(v) - low) / (high - low), 0.0), 1.0)
        return _LEFT + share * (_RIGHT - _LEFT)

    return place, (math.exp(low), math.exp(high)) if log else (low, high), cut


def _kept(low: float, high: float, first: float, last: float) -> tuple[float, float, tuple[bool, bool]]:
    """The ends of an axis low..high, and which is cut so that first..last keep their share: the longer end first."""
    below, above, room = first - low, high - last, (last - first) * (1 / _FAIR - 1)
    if not 0 < room < below + above:
        return low, high, (False, False)
    most = max(room - min(below, above), 0.5 * room)
    return first - min(below, most), last + min(above, most), (below > most, above > most)


def _cut_told(ends: tuple[float, float], cut: tuple[bool, bool], value: float, says: Callable[[float], str]) -> str:
    if not any(cut):
        return ""
    beyond = value < ends[0] or value > ends[1]
    where = " and ".join(
        f"{'below' if number == 0 else 'above'} at {says(ends[number])}" for number in (0, 1) if cut[number]
    )
    return f" Axis cut {where}; {f'this dial shows {says(value)}' if beyond else 'some drawn dials lie beyond'}."


def _aria_text(
    painted: Floats, printed: Floats, value: float, says: Callable[[float], str], counts: tuple[int, int]
) -> str:
    def half(quantiles: Floats) -> str:
        first, last = np.quantile(quantiles, [0.25, 0.75])
        return f"{says(float(first))} to {says(float(last))}"

    return (
        f"This dial {says(value)}. The middle half of {counts[0]} painted drawn dials lies at {half(painted)}, "
        f"of {counts[1]} printed ones at {half(printed)}."
    )
