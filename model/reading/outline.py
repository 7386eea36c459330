"""Finding the dial: the outer edge of the white enamel disc, as an ellipse, or the reason why there is none.

Printed rings, the seconds circle, a dark border and the rims of the case are all nearly concentric with it. The edge
looked for is the outermost one up to which the disc is evenly light: rings lie inside it, and between it and any rim
there is a gap or metal of another light.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.model.reading.discs import ROUNDEST_TILT, DiscEvidence, Tone, find_discs, rings_about, tone_of, weigh
from dialtell.model.reading.ellipse import Ellipse, fit_ellipse
from dialtell.model.reading.geometry import DialGeometry, sample_points
from dialtell.model.reading.likeness import likeness
from dialtell.model.reading.photo import Photo
from dialtell.model.reading.symmetry import symmetric_discs
from dialtell.synth.shared.errors import ParameterError

Floats = NDArray[np.float64]
Weighed = tuple[Ellipse, DiscEvidence]

SMALLEST_DIAL = 48  # px across; below this not even the figures are more than blots
_LONGEST = 480  # px, long side of the copy that is searched
_LEAST_SEEN = 0.42  # share of the outline that must lie inside the frame: less does not hold an ellipse
_LEAST_HELD = 0.45  # share of that with an edge and enamel up to it
_MOST_BEYOND = 0.7  # share of the turn where the ground may be just as light as the enamel

_MOST_TRIED = 3  # candidates followed before giving up
_NEARLY = 0.75  # of the best score, that a candidate tried after it must have
_LEAST_SYMMETRIC = 0.42  # score of one found by symmetry alone

_EIGHTHS = np.arange(8) * (np.pi / 4)


@dataclass(frozen=True)
class NoDial:
    """No dial was found; false in a condition.

    reason : in words, fit to follow "no dial: ".
    """

    reason: str

    def __bool__(self) -> bool:
        return False


def find_dial(photo: Photo | NDArray[np.float32]) -> DialGeometry | NoDial:
    """Where the white enamel disc lies, to a fraction of a pixel; its rotation is left 0 (see rotation.py).

    photo : a Photo, or its (H, W) float32 luminance in linear light.
    Finds discs tilted up to about 40 degrees with at least 42 % of the outline in the frame, from a fifth of the
    picture's short side upwards. Raises ParameterError for an array of another shape.
    """
    grey = photo.grey if isinstance(photo, Photo) else photo
    if grey.ndim != 2 or min(grey.shape) < 32:
        raise ParameterError(f"photo has shape {grey.shape}; give (H, W) luminance of at least 32 px a side")
    tone, scale = tone_of(grey, _LONGEST)
    weighed = _candidates(tone)
    found = _best(grey, scale, weighed)
    if not found:
        # the edge may hardly show: look for what is symmetric
        further = [(disc, weigh(tone, disc)) for disc in symmetric_discs(tone)]
        second = _best(grey, scale, _neighbours(tone, tone.astype(np.float32), further, 0.04), _LEAST_SYMMETRIC)
        found = second or found
    return found


def _best(grey: NDArray[np.float32], scale: float, weighed: list[Weighed], least: float = 0.0) -> DialGeometry | NoDial:
    """The candidate that is a dial, followed at full resolution; or why the best of them is none. least : score."""
    sound = [(disc, evidence) for disc, evidence in weighed if _objection(evidence) is None]
    dials = [(disc, evidence) for disc, evidence in sound if _score(evidence) >= least]
    reasons = [] if dials else [_why_none([evidence for _, evidence in weighed])]
    for _ in range(_MOST_TRIED):
        if not dials:
            break
        disc, evidence = _outermost(dials)
        least = max(least, _NEARLY * _score(evidence))
        geometry = _followed(grey, scale, disc, evidence)
        if isinstance(geometry, DialGeometry) and not _is_dial(grey, geometry, evidence):
            geometry = NoDial("a round light thing with dark marks is there, but no divisions or hours run round it")
        if isinstance(geometry, DialGeometry):
            return geometry
        reasons.append(geometry.reason)
        # what is left must be borne out nearly as well: within a dial not known for one, a ring could pass for it
        dials = [
            (other, e)
            for other, e in dials
            if _score(e) >= least and np.mean(disc.distances(other.points(_EIGHTHS))) > 0.02 * _size(disc)
        ]
    return NoDial(reasons[0])


def _is_dial(grey: NDArray[np.float32], geometry: DialGeometry, evidence: DiscEvidence) -> bool:
    like = likeness(grey, geometry)
    doubtful = evidence.held < 0.6 or evidence.seen < 0.6 or geometry.pixels_across < 150
    return like.beyond_doubt if doubtful else like.of_a_dial


def _followed(grey: NDArray[np.float32], scale: float, disc: Ellipse, evidence: DiscEvidence) -> DialGeometry | NoDial:
    """A candidate of the reduced copy followed in the photograph itself."""
    if evidence.beyond > _MOST_BEYOND:
        return NoDial(
            "the round line found may be a printed ring, the picture goes on as light outside it; "
            "photograph the dial on a darker ground"
        )
    # on a ground about as light as the enamel the edge falls here and rises there
    falling = evidence.falling >= 0.8 * evidence.edge
    (x, y), (a, b) = disc.center, disc.axes
    start = Ellipse((x / scale, y / scale), (a / scale, b / scale), disc.angle)
    refined = _refine(grey, start, falling)
    if refined is None:
        return NoDial("a light disc with strokes is there, but its edge is too vague to be followed")
    ellipse, support = refined
    geometry = DialGeometry(ellipse.center, ellipse.axes, ellipse.angle, 0.0, evidence.seen, support)
    if geometry.pixels_across < SMALLEST_DIAL:
        return NoDial(f"the dial is only {geometry.pixels_across:.0f} px across; give a larger photograph")
    return geometry


def _candidates(tone: Tone) -> list[Weighed]:
    """Discs of the reduced copy with their evidence: borders of light regions, the best of them moved onto the edge
    they lie near, and, unless one is beyond doubt, the edges that run concentric with them."""
    light = tone.astype(np.float32)
    weighed = [(disc, weigh(tone, disc)) for disc in find_discs(tone)]
    for disc, evidence in sorted(weighed, key=_promise, reverse=True)[:4]:
        if evidence.held < 0.97:
            settled = _settled(light, disc)
            weighed.append((settled, weigh(tone, settled)))
    if not any(_beyond_doubt(evidence) for _, evidence in weighed):
        weighed += _neighbours(tone, light, weighed)
    return weighed


def _objection(e: DiscEvidence) -> str | None:
    """What speaks against a candidate being a dial, the gravest first; None if nothing does."""
    if e.edge < _LEAST_HELD:
        return f"the best round shape has an edge along only {e.edge:.0%} of its turn"
    if e.held < _LEAST_HELD or e.even < 0.55 or e.level < 60:
        return "the best round shape is not evenly light up to its edge, as enamel is"
    if e.ink < 0.008 or e.spread < 0.4:
        return "there is a plain light disc, without the strokes of a dial"
    if e.ink > 0.45 or e.blot > 0.12:
        return "the best round shape holds large dark patches, not strokes"
    if e.seen < _LEAST_SEEN:
        return f"only {e.seen:.0%} of the dial's outline lies in the picture; give one that shows the whole dial"
    return None


def _score(e: DiscEvidence) -> float:
    """How well a candidate is borne out, 0..1: along how much of its turn, and whether its enamel ends there."""
    return e.held * (1 - 0.6 * e.beyond) * (0.8 + 0.2 * e.seen)


def _promise(pair: Weighed) -> float:
    e = pair[1]
    return (e.edge + 0.2) * (e.rim + 0.2) * e.even * (1 - 0.3 * e.beyond)


def _beyond_doubt(e: DiscEvidence) -> bool:
    """An edge all round, enamel right up to it and none outside: no printed ring looks so."""
    return _objection(e) is None and e.held > 0.93 and e.beyond < 0.2 and e.seen > 0.7


def _why_none(evidence: list[DiscEvidence]) -> str:
    if not evidence:
        return "nothing round and light of sufficient size is in the picture"
    best = max(evidence, key=lambda e: e.edge * e.rim * min(e.spread + 0.1, 1))
    return _objection(best) or ""


def _outermost(dials: list[Weighed]) -> Weighed:
    """The largest of the well-supported candidates; of near equals the one with the clearer edge."""
    bounded = [(disc, e) for disc, e in dials if e.beyond <= _MOST_BEYOND] or dials
    best = max(_score(e) for _, e in bounded)
    good = [(disc, e) for disc, e in bounded if _score(e) >= 0.85 * best]
    largest = max(_size(disc) for disc, _ in good)
    near = [(disc, e) for disc, e in good if _size(disc) > 0.88 * largest]
    return max(near, key=lambda pair: _score(pair[1]))


def _neighbours(
    tone: Tone, light: NDArray[np.float32], weighed: list[Weighed], contrast: float = 0.08
) -> list[Weighed]:
    """Candidates from the edges concentric with the most promising ones."""
    chosen: list[Ellipse] = []
    for disc, _ in sorted(weighed, key=_promise, reverse=True):
        if all(np.mean(known.distances(disc.points(_EIGHTHS)) > 0.04 * _size(known)) > 0.5 for known in chosen):
            chosen.append(disc)
    found: list[Weighed] = []
    for disc in chosen[:3]:
        for ring in rings_about(tone, disc, contrast):
            settled = _settled(light, ring)
            known = [*(disc for disc, _ in weighed), *(disc for disc, _ in found)]
            if not any(np.mean(other.distances(settled.points(_EIGHTHS))) < 0.8 for other in known):
                found.append((settled, weigh(tone, settled)))
    return found


def _settled(light: NDArray[np.float32], disc: Ellipse) -> Ellipse:
    """A candidate moved onto the edge it lies near, in the reduced copy."""
    points, _ = _edge_points(light, disc, 0.03, False)
    fit = fit_ellipse(points, max(0.008 * _size(disc), 0.8), draws=40, refits=5, roundness=ROUNDEST_TILT)
    return disc if fit is None else fit[0]


def _size(disc: Ellipse) -> float:
    return float(np.sqrt(disc.axes[0] * disc.axes[1]))


def _refine(grey: NDArray[np.float32], start: Ellipse, falling: bool) -> tuple[Ellipse, float] | None:
    """Follow the edge at full resolution in two narrowing bands; the ellipse and the supported share of the turn.

    falling : follow only edges from light to dark going outwards, else those of either kind.
    """
    current, support = start, 0.0
    for reach in (0.02, 0.008):
        radius = _size(current)
        reach = max(reach, 2.5 / radius)
        points, ordered = _edge_points(grey, current, reach, falling)
        gate = max(0.25 * reach * radius, 0.8)
        fit = fit_ellipse(points, gate, draws=80)
        if fit is None:
            return None
        current = fit[0]
        support = float(fit[1].sum()) / ordered
    return (current, support) if support > 0.4 else None


def _edge_points(grey: NDArray[np.float32], disc: Ellipse, reach: float, falling: bool) -> tuple[Floats, int]:
    """Points of steepest fall (or change) across the outline within +-reach radii, and how many were looked for."""
    height, width = grey.shape
    radius = _size(disc)
    directions = 720 if radius > 250 else 360
    turn = np.arange(directions) * (2 * np.pi / directions)
    rays = disc.points(turn) - np.asarray(disc.center)
    steps = int(np.clip(round(2 * reach * radius), 8, 80))
    radii = 1 + np.linspace(-reach, reach, steps)
    places = np.asarray(disc.center) + radii[None, :, None] * rays[:, None, :]
    x, y = places[..., 0], places[..., 1]
    seen = np.all((x > 1) & (y > 1) & (x < width - 1) & (y < height - 1), axis=1)
    places = places[seen]
    if len(places) < 5:
        return np.empty((0, 2)), 1
    # in linear light a blurred step is steepest at the step itself
    light: NDArray[Any] = sample_points(grey, places)
    # smoothed across the edge and, further, along it: grain must not decide
    light = cv2.GaussianBlur(light, (0, 0), sigmaX=max(0.02 * steps, 0.8), sigmaY=2.0)
    slope = light[:, :-2] - light[:, 2:]
    slope = slope if falling else np.abs(slope)
    peak = np.clip(slope.argmax(axis=1), 1, slope.shape[1] - 2)
    row = np.arange(len(slope))
    before, here, after = slope[row, peak - 1], slope[row, peak], slope[row, peak + 1]
    bend = before - 2 * here + after
    shift = np.where(bend < -1e-9, 0.5 * (before - after) / np.minimum(bend, -1e-9), 0.0)
    found = radii[peak + 1] + np.clip(shift, -0.5, 0.5) * (radii[1] - radii[0])
    strong = here > 0.25 * np.median(here)
    points = np.asarray(disc.center) + found[:, None] * rays[seen]
    return points[strong], len(points)
