"""Round light shapes in a reduced photograph: where they might be, and what speaks for each being a dial.

Candidates are ellipses through the borders of light regions at several levels, taken once from the picture as it is
and once with thin dark things (strokes, ticks, rings) closed over. The evidence is read from the picture unrolled
round each candidate: an edge all round, light and even up to that edge, strokes inside.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.model.reading.ellipse import Ellipse, fit_ellipse
from dialtell.model.reading.geometry import sample_points

Tone = NDArray[np.uint8]
Floats = NDArray[np.float64]

ROUNDEST_TILT = 0.72  # smallest b / a: about 44 degrees of tilt
SMALLEST_SHARE = 0.1  # of the picture's short side, smallest radius looked for
_LEVELS = 9
_TURN, _STEP = 180, 0.01  # directions round the turn; radial step in radii
_OUTERMOST = 1.08


@dataclass(frozen=True)
class DiscEvidence:
    """What the unrolled picture says about one candidate; shares are 0..1.

    seen : share of the turn whose outline lies inside the picture.
    falling : share of the seen turn with an edge from light to dark.
    edge : share of the seen turn with such an edge or one from enamel straight to something lighter.
    rim : share of the seen turn where the disc is as light just inside its edge as its surface leads to expect.
    held : share of the seen turn with both such an edge and such a rim.
    beyond : share of the seen turn where the picture goes on at the enamel's level outside, as round a printed ring.
    even : share of the inside at the enamel's level.
    ink : share of the inside clearly darker than the enamel.
    blot : share of the inside in dark patches about a quarter of a radius wide or more.
    spread : share of 20 sectors that hold some ink.
    level : the enamel's tone, 0..255 of the picture's range.
    """

    seen: float
    falling: float
    edge: float
    rim: float
    held: float
    beyond: float
    even: float
    ink: float
    blot: float
    spread: float
    level: float


def tone_of(grey: NDArray[np.float32], longest: int) -> tuple[Tone, float]:
    """Reduced picture in square-root tone, 0..255 up to its 99.5th percentile, and its scale (copy / photo)."""
    height, width = grey.shape
    scale = min(1.0, longest / max(height, width))
    small: NDArray[Any] = grey
    if scale < 1 / 3:  # OpenCV averages whole blocks several times faster
        factor = int(np.ceil(1 / scale))
        size, scale = (width // factor, height // factor), 1 / factor
        small = np.asarray(cv2.resize(grey[: size[1] * factor, : size[0] * factor], size, interpolation=cv2.INTER_AREA))
    elif scale < 1:
        size = (round(width * scale), round(height * scale))
        small = np.asarray(cv2.resize(grey, size, interpolation=cv2.INTER_AREA))
    tone = np.sqrt(np.clip(small, 0, None))
    top = max(float(np.percentile(tone, 99.5)), 1e-3)
    return np.clip(tone * (255 / top), 0, 255).astype(np.uint8), scale


def find_discs(tone: Tone) -> list[Ellipse]:
    """Ellipses that the borders of light regions lie on, px of `tone`, without near repeats."""
    short = min(tone.shape)
    found: list[Ellipse] = []
    for border in _borders(tone):
        if any(np.mean(known.distances(border) < 0.006 * short) > 0.6 for known in found):
            continue
        fit = fit_ellipse(
            border,
            0.008 * short,
            draws=40,
            refits=5,
            roundness=ROUNDEST_TILT,
            span=(SMALLEST_SHARE * short, 0.8 * max(tone.shape)),
        )
        if fit is not None and np.mean(fit[1]) > 0.3:
            found.append(fit[0])
    return found


def _borders(tone: Tone) -> Iterator[Floats]:
    height, width = tone.shape
    short = min(height, width)
    plain = cv2.medianBlur(tone, 3)
    reach = max(3, int(0.022 * max(height, width)) | 1)
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (reach, reach))
    for picture in (plain, cv2.morphologyEx(plain, cv2.MORPH_CLOSE, kernel)):
        low, high = np.percentile(picture[::2, ::2], [4, 96])
        for level in np.linspace(low, high, _LEVELS + 2)[1:-1]:
            light = (picture > level).astype(np.uint8)
            # opening cuts the narrow bridges from a disc to what lies round it
            light = cv2.morphologyEx(light, cv2.MORPH_OPEN, np.ones((3, 3), np.uint8))
            contours, _ = cv2.findContours(light, cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE)
            for contour in contours:
                if len(contour) < 0.5 * short:
                    continue
                points = contour[:, 0, :]
                if np.ptp(points, axis=0).min() < 2 * SMALLEST_SHARE * short:
                    continue
                x, y = points.T
                points = points[(x > 2) & (y > 2) & (x < width - 3) & (y < height - 3)]
                if len(points) >= 0.5 * short:
                    yield points[:: max(1, len(points) // 160)] + 0.5


def weigh(tone: Tone, disc: Ellipse) -> DiscEvidence:
    """Evidence for one candidate disc in the reduced picture."""
    turn: Floats = np.arange(_TURN, dtype=np.float64) * (2 * np.pi / _TURN)
    center = np.asarray(disc.center)
    outline = disc.points(turn)
    radii: Floats = (np.arange(round(_OUTERMOST / _STEP), dtype=np.float64) + 0.5) * _STEP
    places = center + radii[None, :, None] * (outline - center)[:, None, :]
    x, y = places[..., 0], places[..., 1]
    within = (x > 2) & (y > 2) & (x < tone.shape[1] - 2) & (y < tone.shape[0] - 2)
    shown = float(within[:, 99].mean())
    seen = within[:, 99] & within[:, 104]  # and a little beyond, to tell what lies there
    if seen.sum() < 0.2 * _TURN:
        return DiscEvidence(shown, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0)
    rays = sample_points(tone, places)
    ground = _ground(rays, within, radii, turn)
    edge_ground = ground[:, 97]
    rim = _rank(rays[:, 93:98], 0.6)
    beyond = rays[:, 100:105]
    # light to dark, with the steepest place at the candidate's edge
    slope = rays[:, 94:104] - rays[:, 96:106]
    falls = (rim - beyond.min(axis=1) > 0.08 * edge_ground) & (np.abs(slope.argmax(axis=1) - 4.5) <= 2)
    # enamel straight to something lighter: no dark line may lie between, that would be the far side of a line
    rises = (beyond.max(axis=1) - rim > 0.08 * edge_ground) & (np.abs(slope.argmin(axis=1) - 4.5) <= 2)
    rises &= rays[:, 96:101].min(axis=1) > 0.93 * edge_ground
    # the upper part again, and the lightest of five directions: ticks must not break the likeness
    outside = cv2.dilate(_rank(rays[:, 102:107], 0.75)[:, None], np.ones((5, 1), np.uint8))[:, 0]
    like = np.abs(rim / edge_ground - 1) < 0.12
    relative = rays[:, 20:97] / ground[:, 20:97]
    known = within[:, 20:97]
    ink = (relative < 0.82) & known
    dark = ink.astype(np.uint8)
    blot = cv2.morphologyEx(np.vstack([dark[-12:], dark, dark[:12]]), cv2.MORPH_OPEN, np.ones((12, 25), np.uint8))
    faint = ((relative < 0.88) & known)[:, 20:].reshape(20, -1)
    whole = known[:, 20:].reshape(20, -1)
    told = whole.mean(axis=1) > 0.5
    total = float(known.sum())
    return DiscEvidence(
        seen=shown,
        falling=float(falls[seen].mean()),
        edge=float((falls | rises)[seen].mean()),
        rim=float(like[seen].mean()),
        held=float(((falls | rises) & like)[seen].mean()),
        beyond=float((np.abs(outside / edge_ground - 1) < 0.05)[seen].mean()),
        even=float(((np.abs(relative - 1) < 0.12) & known).sum() / total),
        ink=float(ink.sum() / total),
        blot=float(blot[12:-12].sum() / total),
        spread=float((faint.sum(axis=1)[told] > 0.01 * whole.sum(axis=1)[told]).mean()) if told.any() else 0.0,
        level=float(np.median(ground[:, 20:97][known])),
    )


def rings_about(tone: Tone, disc: Ellipse, contrast: float = 0.08) -> list[Ellipse]:
    """Ellipses through the edges that run nearly concentric with a candidate, 0.7 to 1.35 times its size.

    The border of a light region may have leaked into a bright rim, or be a printed ring within the enamel.
    contrast : least step of tone over 2 % of the radius, as a share of the median tone.
    """
    turn = np.arange(_TURN) * (2 * np.pi / _TURN)
    center = np.asarray(disc.center)
    rays = disc.points(turn) - center
    radii = np.arange(0.7, 1.36, _STEP)
    places = center + radii[None, :, None] * rays[:, None, :]
    light = sample_points(tone, places)
    slope = np.zeros_like(light)
    slope[:, 1:-1] = np.abs(light[:, :-2] - light[:, 2:])
    x, y = places[..., 0], places[..., 1]
    slope[(x < 3) | (y < 3) | (x > tone.shape[1] - 3) | (y > tone.shape[0] - 3)] = 0
    high = cv2.dilate(slope, np.ones((1, 5), np.uint8))
    ridge = (slope >= high) & (slope > contrast * np.median(light))
    near = cv2.dilate(ridge.astype(np.uint8), np.ones((1, 5), np.uint8))
    share = near.mean(axis=0)
    found: list[Ellipse] = []
    left = share.copy()
    for _ in range(4):
        peak = int(left.argmax())
        if left[peak] < 0.45:
            break
        window = slice(max(peak - 3, 0), peak + 4)
        direction, column = np.nonzero(ridge[:, window])
        points = places[direction, column + window.start]
        fit = fit_ellipse(
            points, 0.012 * float(np.sqrt(np.prod(disc.axes))), draws=40, refits=5, roundness=ROUNDEST_TILT
        )
        if fit is not None:
            found.append(fit[0])
        left[max(peak - 4, 0) : peak + 5] = 0
    return found


def _rank(values: NDArray[np.float32], share: float) -> NDArray[np.float32]:
    """The value below which `share` of each row lies."""
    at = int(share * (values.shape[1] - 1))
    return np.asarray(np.partition(values, at, axis=1)[:, at])


def _ground(rays: NDArray[np.float32], within: NDArray[np.bool_], radii: Floats, turn: Floats) -> NDArray[np.float32]:
    """Tone of the bare enamel at every place of the rays: a robust quadratic surface through the upper parts of cells.

    One level for a whole ray would call a dial lit from one side uneven.
    """
    sectors, bands = 30, ((10, 30), (30, 45), (45, 60), (60, 72), (72, 84), (84, 97))
    x, y = np.cos(turn), np.sin(turn)
    width = len(turn) // sectors
    values, terms = [], []
    for low, high in bands:
        cells = rays[:, low:high].reshape(sectors, -1)
        shown = within[:, low:high].reshape(sectors, -1).mean(axis=1) > 0.6
        middle = radii[low:high].mean()
        at = np.arange(sectors) * width + width // 2
        values.append(_rank(cells, 0.72)[shown])
        terms.append(_surface(middle * x[at][shown], middle * y[at][shown]))
    upper, basis = np.concatenate(values), np.concatenate(terms)
    if len(upper) < 12:
        return np.full(rays.shape, max(float(np.median(rays)), 1.0), np.float32)
    log = np.log(np.maximum(upper, 1.0))
    trusted = np.abs(log - np.quantile(log, 0.6)) < 0.5
    fit = np.array([float(np.quantile(log, 0.6)), 0, 0, 0, 0, 0])
    for reach in (0.25, 0.16, 0.1, 0.1):
        if trusted.sum() < 12:
            break
        fit = np.linalg.lstsq(basis[trusted], log[trusted], rcond=None)[0]
        away = log - basis @ fit
        # ink and hands only ever darken: be stricter below
        trusted = (away > -0.6 * reach) & (away < reach)
    reached = np.minimum(radii, 0.98)
    log_ground = _surface(np.outer(x, reached), np.outer(y, reached)) @ fit
    return np.asarray(np.exp(np.clip(log_ground, 0.0, 6.0)), dtype=np.float32)


def _surface(x: Floats, y: Floats) -> Floats:
    return np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=-1)
