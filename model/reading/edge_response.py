"""The blur that many edges of strokes show together, seen through what was done to the picture afterwards.

After ISO 12233, edge-based spatial frequency response (from memory): the edges are laid over each other by where they
lie between the pixels, averaged in bins of a quarter of a pixel, differenced, and Fourier-transformed. The standard
reads off where the response falls to a tenth (the limiting resolution); for a Gaussian of SD sigma that is at
sqrt(2 ln 10) / (2 pi sigma) cycles per px. Sharpening lifts all frequencies up to there by a gain that levels off, so
it moves that place by up to a fifth, and the width of the edge by up to a half. The steepness with which the response
falls, ln against the square of the frequency (a straight line for a Gaussian), it changes least: 0 to 13 % for an
unsharp mask of any size and an amount of 1.5 and less. So sigma is read off that steepness, where the response falls
from three quarters to a third of its greatest. What it cannot see through: a filter that steepens edges alone
(bilateral), and masks laid one over another until white and black are clipped.

Long tails (flare, halation) reach beyond the edges that are laid over each other and take contrast, not frequencies:
they count for little.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

Floats = NDArray[np.float64]

TEN_TO_NINETY = 2.5631  # in sigma: 2 * 1.28155
REACH = 24  # px walked to each side of an edge
_MOST, _FEWEST = 1500, 150  # edges laid over each other; taken even where strokes are too thin or too close
_SPAN = 4.0  # sigma: free of other edges to each side
_LEAST_SIGMA = 0.6  # px, for the sizes of windows
_LEAST_SPAN = 3.0  # px
_FEWEST_IN_BIN, _FEWEST_ALIKE = 8, 8
_TURNED = 0.3  # of the step, by which the next edge has begun; a rim takes less
_ALIKE = 0.3  # ln of the widths of edges that are averaged against the median's
_FROM, _TO = 0.75, 0.35  # of the greatest response; below, what clipping and rounding add
_LEAST_FREQUENCIES = 4
# sharpening lifts the line's height at frequency 0 above 1: ln of it; what a plain edge shows, what counts at most, and
# how much sigma is to grow by it. All chosen on drawn dials and slanted edges under unsharp masks
_PER_LIFT, _PLAIN_LIFT, _MOST_LIFT = 0.55, 0.05, 0.27
_SHARPEST_LIFT, _CRAMPED_LIFT = 0.5, 0.8
# where a mask drives edges to full white and black there is no such lift, but a bright rim (of the enamel's light)
_CLIPPED, _LEAST_RIM, _CLIPPED_RIM = 0.4, 0.1, 0.16
_SHARP_LIFT, _FLAT_LIFT = 0.25, 0.1
_NARROWED, _WIDENED = 2.5, 1.3  # the sigma told lies at most so far above and below that of the plain width


def common_sigma(profile: Floats, slant: Floats, low: Floats, high: Floats) -> float:
    """Blur SD in px, the pixel's own width included, of the edges together.

    profile : (N, 2 * REACH + 2) light, enamel = 1, along lines across N edges, dark to light, half way up between the
    two middle samples. slant : (N,) >= 1, how much longer the line's way across is than the edge's normal. low, high :
    (N,) levels reached to both sides. N >= 1.
    """
    relative = (profile - low[:, None]) / (high - low)[:, None]
    width = (_crossing(relative, 0.9, 1) + _crossing(relative, 0.1, -1)) / slant
    middle = float(np.median(width))
    # shadows, worn strokes and the rims of hands are softer than the picture
    alike = np.flatnonzero(np.abs(np.log(np.maximum(width, 1e-3) / middle)) < _ALIKE)
    usual = middle / TEN_TO_NINETY
    if len(alike) < _FEWEST_ALIKE:
        return usual
    spread, step, trust = _common_edge(profile[alike], slant[alike], _room(relative[alike]), usual)
    found, lift = _steepness(*_response(spread, step, usual))
    if math.isnan(found):
        return usual
    rim = (float(np.median(high)) - 1.0 - _LEAST_RIM) / (_CLIPPED_RIM - _LEAST_RIM)
    clipped = float(np.clip(rim, 0.0, 1.0) * np.clip((_SHARP_LIFT - lift) / (_SHARP_LIFT - _FLAT_LIFT), 0.0, 1.0))
    lifted = 1.0 + _PER_LIFT * min(max(trust * lift - _PLAIN_LIFT, 0.0), _MOST_LIFT) + _CLIPPED * clipped
    # no mask lifts so far: the strokes are too thin or too close, and the truth lies about half way to the plain width
    cramped = float(np.clip((lift - _SHARPEST_LIFT) / (_CRAMPED_LIFT - _SHARPEST_LIFT), 0.0, 1.0))
    told = (found * lifted ** (1.0 - cramped)) ** (1.0 - 0.5 * cramped) * usual ** (0.5 * cramped)
    return float(np.clip(told, usual / _WIDENED, usual * _NARROWED))


def _room(relative: Floats) -> Floats:
    """(2, N) px from each edge to half way to the next one, on its dark and its light side."""
    found = []
    for level in (relative[:, REACH::-1], 1.0 - relative[:, REACH + 1 :]):
        back = (level > _TURNED) & np.maximum.accumulate(level < _TURNED, axis=1)  # once it has been down
        found.append(0.5 * np.where(back.any(axis=1), back.argmax(axis=1), 2 * REACH))
    return np.array(found)


def _common_edge(profile: Floats, slant: Floats, room: Floats, usual: float) -> tuple[Floats, float, float]:
    """Mean rise of the edges with most room, 0 to 1 but for rims; the step in px at which it is told; and how many of
    those wanted have room enough, 0..1."""
    least = room.min(axis=0)
    wanted = max(_SPAN * max(usual, _LEAST_SIGMA), _LEAST_SPAN)
    chosen = np.flatnonzero(least >= wanted)
    trust = min(len(chosen) / _FEWEST, 1.0)
    if len(chosen) < _FEWEST:
        chosen = np.argsort(-least, kind="stable")[:_FEWEST]
    if len(chosen) > _MOST:
        chosen = chosen[np.linspace(0, len(chosen) - 1, _MOST).astype(int)]
    profile, slant, room, least = profile[chosen], slant[chosen, None], room[:, chosen], least[chosen]
    half = int(np.clip(min(wanted, float(np.quantile(least, 0.25))), 2, REACH - 1))
    near = profile[:, REACH - half + 1 : REACH + half + 1]
    outer = max(half // 3, 1)
    dark, light = near[:, :outer].mean(axis=1, keepdims=True), near[:, -outer:].mean(axis=1, keepdims=True)
    rise = np.maximum(light - dark, 1e-3)
    # where an edge lies follows from the area under it: that is exact for anything sampled finely enough
    middle = half + 0.5 - ((near - dark) / rise).sum(axis=1, keepdims=True)
    place = (np.arange(-REACH, REACH + 2) - middle) / slant
    step = 0.25 * max(1.0, usual / 1.5)
    bins = math.ceil(_reach(usual) / step)
    bin_ = np.floor(place / step).astype(np.int64) + bins
    own = (place > -room[0][:, None] / slant) & (place < room[1][:, None] / slant) & (bin_ >= 0) & (bin_ < 2 * bins)
    bin_ = bin_[own]
    count = np.bincount(bin_, minlength=2 * bins)
    each = np.maximum(count, 1)
    value = np.bincount(bin_, ((profile - dark) / rise)[own], minlength=2 * bins) / each
    at = np.bincount(bin_, place[own], minlength=2 * bins) / each
    well = count >= min(_FEWEST_IN_BIN, max(len(chosen) // 8, 1))
    if not well.any():
        return np.zeros(2 * bins), step, trust
    return np.interp((np.arange(2 * bins) + 0.5 - bins) * step, at[well], value[well]), step, trust


def _reach(usual: float) -> float:
    """Px to each side within which the common edge is told."""
    return 5.0 * max(usual, _LEAST_SIGMA) + 1.0


def _response(spread: Floats, step: float, usual: float) -> tuple[Floats, Floats]:
    """Frequencies in cycles per px, and the size of the response at each."""
    line = np.diff(spread)
    at = (np.arange(len(line)) + 1 - len(spread) / 2) * step
    end = _reach(usual)
    flat = 3.2 * max(usual, _LEAST_SIGMA)
    fade = np.clip((end - np.abs(at)) / (end - flat), 0.0, 1.0)
    frequency = np.linspace(0.0, 0.64, 81) / max(usual, 0.5)
    wave = np.exp(-2j * math.pi * np.outer(frequency, at))
    # bins and differences each are a box one step wide
    return frequency, np.abs(wave @ (line * fade**2 * (3.0 - 2.0 * fade))) / np.sinc(frequency * step) ** 2


def _steepness(frequency: Floats, response: Floats) -> tuple[float, float]:
    """SD in px of the Gaussian whose response falls as steeply, nan where it does not fall; and the ln of the height
    from which it would fall, over the greatest there is."""
    top = int(response.argmax())
    falling = response[top:] / max(float(response[top]), 1e-9)
    below = falling < _TO
    stop = int(below.argmax()) if below.any() else len(falling)
    start = int((falling[:stop] < _FROM).argmax())
    rises = np.diff(falling[start:stop]) > 0
    stop = start + int(rises.argmax()) + 1 if rises.any() else stop
    if stop - start < _LEAST_FREQUENCIES:
        return math.nan, 0.0
    slope, height = np.polyfit(frequency[top + start : top + stop] ** 2, np.log(falling[start:stop]), 1)
    return math.sqrt(max(-float(slope), 0.0) / 2.0) / math.pi, float(height)


def _crossing(relative: Floats, level: float, direction: int) -> Floats:
    """Distance in px from the middle of the edge cell to where the profile first crosses `level` going outwards."""
    half = relative[:, REACH:] if direction > 0 else 1 - relative[:, REACH + 1 :: -1]
    goal = level if direction > 0 else 1 - level
    beyond = half >= goal
    beyond[:, 0] = False
    at = np.where(beyond.any(axis=1), beyond.argmax(axis=1), half.shape[1] - 1)
    row = np.arange(len(half))
    # on the probit scale a Gaussian edge is a straight line, so interpolation there is exact for it
    before, after = (ndtri(np.clip(half[row, k], 0.005, 0.995)) for k in (at - 1, at))
    share = np.clip((ndtri(goal) - before) / np.maximum(after - before, 1e-9), 0, 1)
    return np.asarray(at - 1 + share - 0.5)
