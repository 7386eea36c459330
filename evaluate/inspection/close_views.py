"""A close view of each judged zone, where it lies, and what is held beside it at the same magnification."""

from __future__ import annotations

import math
import os
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.evaluate.inspection.page import ZoneCrop
from dialtell.evaluate.inspection.reference_dial import LIKE_SECONDS, reference_dial
from dialtell.evaluate.maps.painting import Map, view_map
from dialtell.evaluate.pages.pictures import resized_map
from dialtell.evaluate.score.score import ScoredPhoto, score_photo
from dialtell.evaluate.words.plain import plain_name
from dialtell.model.net.explanation import Explanation
from dialtell.model.net.weights_file import Weights
from dialtell.model.reading.geometry import DialGeometry, patch_grid, sample
from dialtell.model.reading.known import Known
from dialtell.model.reading.patches import SCALE, SPAN, PatchSet
from dialtell.model.reading.photo import Bytes, Photo, display
from dialtell.model.reading.steps import Reading
from dialtell.synth.shared.errors import PhotoError
from dialtell.synth.shared.terms import ZONES, Process, Zone

VIEW = 0.34  # dial radii, side of a close view: some four patches

SMALL, SOFT, SHIFT = 64, 2.5, 10  # px of a view compared with a drawn one, of its softening, by which it may be shifted
BLANK = 60  # of 255, from lightest to darkest, below which a drawn dial has nothing at that place
COARSER = 2  # px of a close view per px of the map painted for it, a side
OUTWARDS = {
    Zone.NUMERALS: "Outwards is up.", Zone.MINUTE_TRACK: "Outwards is up.",
    Zone.SECONDS_BIT: "Outwards from its own middle is up.",
}  # fmt: skip
OFF_FRAME = 243  # code of what a close view shows beyond the photograph
_FINEST = 1400.0  # px per dial radius of a close view at most


@dataclass(frozen=True)
class ViewPlace:
    """Where a close view lies: its middle and the direction of its columns, dial radii; its side in px."""

    center: tuple[float, float]
    right: tuple[float, float]
    px: int


def zone_crops(scored: ScoredPhoto, added: Map, beside: Beside) -> list[ZoneCrop]:
    """A close view of each judged zone about the place that adds most to the call, with what stands beside it there.

    added : (N, S, S) over the patches, see place_map."""
    explanation = None if scored.verdict is None else scored.verdict.explanation
    reading, verdict = scored.reading, scored.verdict
    if reading is None or verdict is None:
        return []
    crops: list[ZoneCrop] = []
    for zone, evidence in verdict.zones.items():
        member = np.flatnonzero(reading.patches.zone == ZONES.index(zone if reading.zones.named else Zone.OTHER))
        if evidence.judged and len(member):
            crop, place = _crop(zone, member, scored.photo, reading, added)
            number = int(reading.patches.zone[member[0]])
            share = None if explanation is None else share_within(explanation, place, number)
            crops.append(replace(crop, beside=beside(zone, place), share=share))
    return crops


def share_within(explanation: Explanation, place: ViewPlace, zone: int) -> float:
    """What the places of a zone whose middle lies in a close view add to the dial's ratio together, log10."""
    right = np.asarray(place.right) / math.hypot(*place.right)
    away = explanation.center - np.asarray(place.center)
    own = explanation.zone == zone
    along, across = away @ right, away @ np.array([-right[1], right[0]])
    return float(explanation.by_place[(np.abs(along) <= VIEW / 2) & (np.abs(across) <= VIEW / 2) & own].sum())


def frame_of(geometry: DialGeometry, place: ViewPlace) -> NDArray[np.float64]:
    """(4, 2) photo px, the corners of a close view."""
    right = np.asarray(place.right) / math.hypot(*place.right)
    down = np.array([-right[1], right[0]])
    signs = ((-1, -1), (1, -1), (1, 1), (-1, 1))
    return geometry.to_photo(
        np.array([np.asarray(place.center) + 0.5 * VIEW * (a * right + b * down) for a, b in signs])
    )


def _crop(
    zone: Zone, member: NDArray[np.int64], photo: Photo, reading: Reading, added: Map
) -> tuple[ZoneCrop, ViewPlace]:
    patches = reading.patches
    index = strongest(patches, added, member)
    center, right = patches.center[index], patches.right[index]
    scale = float(np.clip(reading.geometry.pixels_per_radius, SCALE, _FINEST))
    side = round(VIEW * scale)
    place = ViewPlace((float(center[0]), float(center[1])), (float(right[0]), float(right[1])), side)
    # the same view as a dial seen face on, turned so that `right` runs along its columns; its map need not be fine
    turn, coarse = -math.atan2(right[1], right[0]), max(side // COARSER, 1)
    unit = scale * coarse / side
    flat = DialGeometry((0.0, 0.0), (unit, unit), rotation=turn)
    x, y = coarse / 2 - flat.to_photo(center)
    view = DialGeometry((float(x), float(y)), (unit, unit), rotation=turn)
    mapped = resized_map(view_map(added[member], patches.chosen(member), view, (coarse, coarse)), side, side)
    caption = OUTWARDS.get(zone, "")
    image = view_of(photo, reading.geometry, place)
    frame = frame_of(reading.geometry, place)
    return ZoneCrop(zone.value, image, mapped, caption, frame=frame), place


def view_of(photo: Photo, geometry: DialGeometry, place: ViewPlace) -> Bytes:
    """(px, px, 3) sRGB of a close view of a photograph's dial, plain where the photograph ends."""
    grid = patch_grid(geometry, place.center, place.right, (place.px, place.px), place.px / VIEW)
    view = display(sample(photo.pixels, grid))
    view[((grid < 0) | (grid > photo.pixels.shape[1::-1])).any(axis=-1)] = OFF_FRAME
    return view


Beside = Callable[[Zone, ViewPlace], tuple[tuple[str, Bytes], ...]]


def beside_views(
    reading: Reading, compare_with: str | os.PathLike[str] | None, weights: Weights, max_pixels: int
) -> tuple[Beside, str]:
    """What to show beside a close view, and what it is in a sentence; nothing where its place on the dial is not known.

    Raises PhotoError for the other photograph."""
    if not reading.zones.named:
        return (lambda zone, place: ()), ""
    if compare_with is None:
        drawn = reference_dial(reading)

        def crops(zone: Zone, place: ViewPlace) -> tuple[tuple[str, Bytes], ...]:
            if zone not in drawn.shows:
                return ()
            center = drawn.lettering if zone is Zone.SIGNATURE else place.center  # its words are others
            views = tuple(
                (title, drawn.crop(process, center, place.right, VIEW, place.px))
                for title, process in (("Drawn: painted by hand", Process.HAND), ("Drawn: printed", Process.TRANSFER))
            )
            if any(float(np.ptp(view)) <= BLANK for _, view in views):
                return ()
            return views if zone is Zone.SIGNATURE or like_there(reading, place, views[-1][1]) >= LIKE_SECONDS else ()

        return crops, (
            "Beside some parts stands the same on a dial of a like design, drawn once as a hand paints and once as a "
            "plate prints, at the same magnification and no sharper than this photograph; it is left out where the "
            "design could not be told. Drawn dials show what to look for; they prove nothing."
        )
    other = score_photo(compare_with, weights, known=Known(max_pixels=max_pixels))
    if other.reading is None:
        raise PhotoError(f"--compare-with {compare_with}: {other.record['reason']} Give another photograph, or auto")
    geometry, name = other.reading.geometry, plain_name(Path(compare_with).name)
    title = f"{name}: called {other.record['call']}"
    return (
        lambda zone, place: ((title, view_of(other.photo, geometry, place)),),
        f"Beside each close view stands the same place on {name}, at the same magnification.",
    )


def like_there(reading: Reading, place: ViewPlace, drawn: Bytes) -> float:
    """Correlation of a drawn view with the ink read there, laid on it as well as a small shift can, -1..1."""
    grid = patch_grid(reading.geometry, place.center, place.right, (SMALL, SMALL), SMALL / VIEW)
    ink = np.clip(sample(reading.density, grid) / max(reading.patches.full, 1e-6), 0.0, 1.0)
    small = cv2.resize(drawn[..., 0], (SMALL, SMALL), interpolation=cv2.INTER_AREA).astype(np.float32)
    soft = [cv2.GaussianBlur(one.astype(np.float32), (0, 0), SOFT) for one in (ink, 1.0 - small / 255.0)]
    inner = np.ascontiguousarray(soft[1][SHIFT:-SHIFT, SHIFT:-SHIFT])
    if min(float(soft[0].std()), float(inner.std())) < 1e-3:  # nothing drawn, or nothing there
        return 0.0
    return float(cv2.matchTemplate(soft[0], inner, cv2.TM_CCOEFF_NORMED).max())


def strongest(patches: PatchSet, added: Map, member: NDArray[np.int64]) -> int:
    """Index of the patch among `member` in whose neighbourhood the map of those is largest in size."""
    size = np.abs(added).sum(axis=(1, 2))
    away = np.linalg.norm(patches.center[member, None] - patches.center[None, member], axis=-1)
    near = away < 0.5 * VIEW - 0.25 * SPAN
    return int(member[(near * size[member]).sum(axis=1).argmax()])
