"""The photographs of one dial beside each other: the same place cut from each that shows it, zone by zone, one scale.

Places are those of the dial's frame, in which every photograph was laid; pictures are enlarged from the originals.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np

from dialtell.evaluate.compare.zone_pairs import SHOWN, Cut, cut_out, cuts_of, seen_of
from dialtell.evaluate.one_dial.dial import OneDial, Part
from dialtell.model.reading.geometry import patch_grid, sample
from dialtell.model.reading.photo import Bytes
from dialtell.model.reading.steps import Reading
from dialtell.synth.shared.terms import ZONES, Zone

HOURS = tuple(range(1, 13))
PLACES = 2  # of a zone at most
MOST = 4  # photographs of a place: the whole view, and the finest others
WHOLE = 0.98  # share of a place that must be in the frame
ENLARGED, LARGEST, SMALLEST = 1.5, 420, 160  # px per px of the finest photograph; px of the longer side
LOOKED, BLACK, LEAST_INK = 24, 0.35, 0.012  # points a side; of full density; of a place
PARTS = 3  # pieces, side by side, in which broad zones may be looked at too

Views = tuple[tuple[str, Bytes], ...]


def beside(dial: OneDial, names: Mapping[str, str] | None = None) -> dict[str, list[Views]]:
    """Of each zone, for each place looked at, (name, (h, w, 3) sRGB) of the photographs that show it; a zone that two
    photographs do not show is left out. names : by the files' names, what a person calls them."""
    shown = [part for part in dial.parts if part.reading is not None]
    whole = next((part.reading for part in shown if part.placing is None), None)
    if whole is None or len(shown) < 2:
        return {}
    shown.sort(key=lambda part: (part.placing is not None, -_fineness(part)))
    found = {}
    for zone in SHOWN:
        places = _places(candidates(whole, zone), shown)
        if places:
            found[zone.value] = [_views(cut, parts, names or {}) for cut, parts in places]
    return found


def candidates(whole: Reading, zone: Zone) -> list[Cut]:
    """Places of a zone that may be looked at, the whole of it first."""
    cuts = cuts_of(whole, zone, HOURS)
    cuts = [cut for cut in cuts if _holds(whole, zone, cut)] or cuts  # a seconds dial may lie where a figure would
    if zone not in (Zone.SIGNATURE, Zone.SECONDS_BIT):
        return cuts
    parts = []
    for cut in cuts:
        width, height = cut.size
        side = min(width / PARTS, height) if zone is Zone.SIGNATURE else 0.5 * width
        step = max(width - side, 0.0) / 2
        middles = [-step, 0.0, step] if zone is Zone.SIGNATURE else [-step, step]
        downs = [0.0] if zone is Zone.SIGNATURE else [-step, step]
        size = (side, height) if zone is Zone.SIGNATURE else (side, side)
        parts += [Cut((cut.center[0] + x, cut.center[1] + y), cut.right, size) for y in downs for x in middles]
    return [*cuts, *parts]


def _holds(whole: Reading, zone: Zone, cut: Cut) -> bool:
    """Whether strokes of a zone lie in a cut."""
    grid = patch_grid(whole.geometry, cut.center, cut.right, (LOOKED, LOOKED), LOOKED / max(cut.size))
    dark = sample(whole.density, grid).ravel() > BLACK * whole.patches.full
    own = whole.zones.at(whole.geometry.to_dial(grid.reshape(-1, 2))) == ZONES.index(zone)
    return bool((own & dark).mean() >= LEAST_INK)


def _places(cuts: Sequence[Cut], shown: Sequence[Part]) -> list[tuple[Cut, list[Part]]]:
    """The places that most photographs show, and those; one after the other for what those before do not show."""
    within = np.array([[_shows(part, cut) for part in shown] for cut in cuts], bool).reshape(len(cuts), len(shown))
    found: list[tuple[Cut, list[Part]]] = []
    left = np.ones(len(shown), bool)
    left[0] = False  # the whole view shows all of them
    while len(found) < PLACES and len(cuts):
        count = (within & left).sum(axis=1)
        best = int(count.argmax())
        if count[best] == 0 or not within[best, 0]:
            break
        own = [part for part, there in zip(shown, within[best], strict=True) if there][:MOST]
        found.append((cuts[best], own))
        left &= ~within[best]
    return found


def _shows(part: Part, cut: Cut) -> bool:
    return part.reading is not None and seen_of(cut, part.reading) >= WHOLE


def _fineness(part: Part) -> float:
    return 0.0 if part.reading is None else part.reading.sharpness.true_pixels_per_radius


def _views(cut: Cut, parts: Sequence[Part], names: Mapping[str, str]) -> Views:
    finest = max(part.reading.geometry.pixels_per_radius for part in parts if part.reading is not None)
    longest = max(cut.size)
    scale = float(np.clip(ENLARGED * finest, SMALLEST / longest, LARGEST / longest))
    shape = (max(round(cut.size[1] * scale), 8), max(round(cut.size[0] * scale), 8))
    files = [Path(part.alone.record["photo"]).name for part in parts]
    return tuple(
        (names.get(file, file), cut_out(part.alone.photo, part.reading, cut, shape, scale))
        for file, part in zip(files, parts, strict=True)
        if part.reading is not None
    )
