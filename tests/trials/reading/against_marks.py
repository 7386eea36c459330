"""What is read of real photographs against marks set by eye, each photograph handed in ten ways.

    python tests/trials reading/against_marks --photos DIR [DIR ...] --marks FOLDER [--reader PATH] [--out FILE.json]

marks.py says what a folder of marks holds, ways.py which ways there are. Photographs without a row of marks are left
out. Within 2 % of the marks means centre and both semi-axes, each to 2 % of the mean radius; within 0.5 % of each other
likewise about the median over the ways. The 12 of photographs whose twelve_deg is empty is not judged. Zones and points
are judged as handed in only: a zone's overlap is the intersection over union of areas on the marked dial's disc; a
point is right when any of the nine px of the last square look about it has its class, and a point beyond that look
counts as not dial. Photographs and marks are for looking and measuring; neither belongs to the project.
"""

from __future__ import annotations

import argparse
import math
import sys
import tempfile
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from PIL import Image
from trials.reading.marks import GROUP, SHOWN, Marks, marked_area, overlap, read_area, read_marks
from trials.reading.ways import AS_IS, HEAD, SIDE, WAYS, HandedIn, ways_of

from dialtell.evaluate.score.recognised import LEAST_CERTAIN
from dialtell.model.reading.geometry import DialGeometry
from dialtell.model.reading.photo import Photo
from dialtell.synth.shared.errors import DialtellError
from dialtell.synth.shared.terms import Zone

if TYPE_CHECKING:
    from dialtell.evaluate.score.score import ScoredPhoto
    from dialtell.model.net.weights_file import Weights

SCHEMA = "dialtell.against-marks/1"
OFF, APART, TWELVE = 0.02, 0.005, 6.0  # dial radii, dial radii, degrees
NOT_READ = "not read"
CALLS = {"hand-painted", "printed"}


@dataclass(frozen=True)
class Told:
    """One photograph in one way.

    off : dial radii, the largest error of centre and semi-axes against the marks; NaN without marks. certainty : of the
    outline; None where none is stated, of a close-up whose course is assumed, which a remark says. turned : degrees,
    error of 12; NaN where it is not judged. twelve : certainty of it. place : cx, cy, a, b carried back to the
    photograph as it is. ratio : log10 LR, None where there is none.
    """

    way: str
    found: bool
    off: float = math.nan
    certainty: float | None = math.nan
    turned: float = math.nan
    twelve: float = math.nan
    place: tuple[float, float, float, float] | None = None
    call: str = "undetermined"
    ratio: float | None = None
    make: str = ""
    reason: str = ""

    @property
    def warned(self) -> bool:
        """Whether the result says that the outline may be wrong."""
        return self.certainty is None or not self.certainty >= LEAST_CERTAIN  # not stated counts as a warning


@dataclass(frozen=True, eq=False)
class Judged:
    """One photograph. zones : overlap of each marked zone, 0 where it is not named; extra : zones named but not marked.
    points : (marked, read) with counts; right : of each marked class, points right and points. strict : points right
    when only the nearest px of the look counts."""

    marks: Marks
    told: tuple[Told, ...]
    zones: dict[str, float] = field(default_factory=dict)
    extra: tuple[str, ...] = ()
    points: Counter[tuple[str, str]] = field(default_factory=Counter)
    right: dict[str, tuple[int, int]] = field(default_factory=dict)
    strict: int = 0

    @property
    def spread(self) -> list[bool]:
        """Of each way in which a dial was found, whether it lies within APART of the median of all."""
        places = np.array([one.place for one in self.told if one.place is not None])
        if len(places) < 2:
            return []
        middle = np.median(places, axis=0)
        return [bool(v) for v in _off(places, middle) <= APART]

    @property
    def ratio_spread(self) -> float | None:
        """SD of log10 LR over the ways that have one; None of fewer than two."""
        ratios = [one.ratio for one in self.told if one.ratio is not None]
        return float(np.std(ratios)) if len(ratios) > 1 else None

    @property
    def opposite(self) -> bool:
        """Whether two ways got opposite calls."""
        return {one.call for one in self.told} >= CALLS


def judge_photo(path: Path, marks: Marks, weights: Weights, folder: Path) -> Judged:
    """Hand one photograph in in every way; folder : for the files, which are removed."""
    from dialtell.evaluate.score.score import score_photo
    from dialtell.model.reading.photo import read_photo

    whole = read_photo(path)
    codes = whole.codes if whole.codes.dtype == np.uint8 else (whole.codes >> 8).astype(np.uint8)
    picture = Image.fromarray(codes).convert("RGB")
    told, judged = [], Judged(marks, ())
    for given in ways_of(picture, marks.outline):
        place = path
        if given.way != AS_IS:
            place = folder / "given.jpg"
            given.picture.save(place, quality=given.quality)
        scored = score_photo(place, weights)
        told.append(_told(given, scored, marks))
        if given.way == AS_IS:
            judged = _places(scored, marks, weights)
    return replace(judged, told=tuple(told))


def _told(given: HandedIn, scored: ScoredPhoto, marks: Marks) -> Told:
    record, reading = scored.record, scored.reading
    if reading is None:
        return Told(given.way, False, call=record["call"], reason=record["reason"])
    geometry = reading.geometry
    off, turned = math.nan, math.nan
    if marks.outline is not None:
        off = float(_off(np.array([_place(geometry)]), np.array(_place(given.carry(marks.outline))))[0])
        if marks.twelve:
            away = geometry.twelve_deg - given.carry(marks.outline).twelve_deg
            turned = abs((away + 180.0) % 360.0 - 180.0)
    likeliest = max(reading.make, key=lambda make: reading.make[make]) if reading.make else ""
    return Told(
        given.way, True, off,
        math.nan if reading.outline_certainty is None else reading.outline_certainty, turned,
        math.nan if reading.twelve is None else reading.twelve.certainty,
        _place(given.back(geometry)), record["call"], record["log10_lr"], str(likeliest), record["reason"],
    )  # fmt: skip


def _place(dial: DialGeometry) -> tuple[float, float, float, float]:
    return (*dial.center_px, *dial.axes_px)


def _off(places: np.ndarray[Any, Any], true: np.ndarray[Any, Any]) -> np.ndarray[Any, Any]:
    """(N,) the largest of the distance of the centres and the differences of the semi-axes, mean radii of `true`."""
    away = np.abs(places - true)
    each = np.stack([np.hypot(away[:, 0], away[:, 1]), away[:, 2], away[:, 3]])
    return np.asarray(each.max(axis=0) / math.sqrt(true[2] * true[3]))


def _places(scored: ScoredPhoto, marks: Marks, weights: Weights) -> Judged:
    """Zones and points of a photograph as handed in."""
    zones: dict[str, float] = {}
    extra: tuple[str, ...] = ()
    reading = scored.reading
    if marks.zones and marks.outline is not None:
        named = {part.zone for part in marks.zones}
        for zone in sorted(named, key=list(Zone).index):
            area = read_area(zone, np.empty((0, 2)))
            if reading is not None:
                outline = reading.geometry.to_photo(reading.zones.polygon(zone))
                area = read_area(zone, marks.outline.to_dial(outline))
            zones[str(zone)] = overlap(marked_area(marks.zones, zone), area)
        if reading is not None and reading.zones.named:
            extra = tuple(str(zone) for zone in Zone if zone in reading.zones.found - named)
    points, right, strict = points_read(scored.photo, marks, weights)
    return Judged(marks, (), zones, extra, points, right, strict)


def points_read(
    photo: Photo, marks: Marks, weights: Weights
) -> tuple[Counter[tuple[str, str]], dict[str, tuple[int, int]], int]:
    """What the last square look shows at the marked points: (marked, read) counted, right and all by class, and how
    many are right when only the nearest px counts."""
    from dialtell.model.reading.outline import NoDial, find_outline

    table: Counter[tuple[str, str]] = Counter()
    right = dict.fromkeys(dict.fromkeys(marks.shown), (0, 0))
    strict = 0
    if not marks.shown:
        return table, right, strict
    found = find_outline(photo, weights.reader)
    for point, shown in zip(marks.points, marks.shown, strict=True):
        read = NOT_READ
        if not isinstance(found, NoDial):
            look = found.look
            column, row = np.floor(look.onto[:, :2] @ point + look.onto[:, 2]).astype(int)
            height, width = look.seen.shape
            read = "not dial"
            if 0 <= row < height and 0 <= column < width:
                about = look.seen[max(row - 1, 0) : row + 2, max(column - 1, 0) : column + 2]
                near = {GROUP[int(index)] for index in np.unique(about)}
                own = GROUP[int(look.seen[row, column])]
                strict += own == shown
                read = shown if shown in near else own
            else:
                strict += read == shown
        table[shown, read] += 1
        right[shown] = (right[shown][0] + (read == shown), right[shown][1] + 1)
    return table, right, strict


def figures(judged: Sequence[Judged]) -> dict[str, Any]:
    """Shares with counts and Wilson intervals, spreads, the points' table."""
    seen = [one for one in judged if one.marks.outline is not None]
    told = [told for one in seen for told in one.told]
    found = [one for one in told if one.found]
    turned = [one for one in found if not math.isnan(one.turned)]
    wrong = [one for one in found if one.off > OFF]
    shares: dict[str, Any] = {"dial found, all ways": share(sum(one.found for one in told), len(told))}
    for way in WAYS:
        own = [one for one in told if one.way == way]
        shares[f"dial found, {way}"] = share(sum(one.found for one in own), len(own))
    shares["centre and axes within 2 % of the marks, of found, all ways"] = share(
        sum(one.off <= OFF for one in found), len(found)
    )
    own = [one for one in found if one.way == AS_IS]
    shares["centre and axes within 2 %, of found, as is"] = share(sum(one.off <= OFF for one in own), len(own))
    spread = [flag for one in seen for flag in one.spread]
    shares["ways within 0.5 % of their photograph's median, of found"] = share(sum(spread), len(spread))
    steady = [all(one.spread) and len(one.spread) == len(one.told) for one in seen]
    shares["photographs with all ways found and within 0.5 %"] = share(sum(steady), len(steady))
    shares["12 within 6 degrees, of found, all ways"] = share(sum(o.turned <= TWELVE for o in turned), len(turned))
    for way in (AS_IS, SIDE, HEAD):
        own = [one for one in turned if one.way == way]
        shares[f"12 within 6 degrees, {way}"] = share(sum(one.turned <= TWELVE for one in own), len(own))
    sure = [one for one in turned if one.twelve >= LEAST_CERTAIN]
    shares["12 more than 6 degrees off, of those told as certain"] = share(
        sum(one.turned > TWELVE for one in sure), len(sure)
    )
    shares["outline off by more than 2 %, certainty 0.5 or more (no warning)"] = share(
        sum(not one.warned for one in wrong), len(found)
    )
    shares["outline off by more than 2 %, warned"] = share(sum(one.warned for one in wrong), len(found))
    shares["outline right to 2 %, warned for nothing"] = share(
        sum(one.off <= OFF and one.warned for one in found), len(found)
    )
    marked = [value for one in judged for value in one.zones.values()]
    shares["marked zones named"] = share(sum(value > 0 for value in marked), len(marked))
    shares["marked zones overlapped by half or more"] = share(sum(value >= 0.5 for value in marked), len(marked))
    points = sum((one.points for one in judged), Counter[tuple[str, str]]())
    shares["points right"] = share(sum(n for (m, r), n in points.items() if m == r), points.total())
    shares["points right, nearest px only"] = share(sum(one.strict for one in judged), points.total())
    for name in SHOWN:
        own_points = {read: n for (mark, read), n in points.items() if mark == name}
        shares[f"points right, {name}"] = share(own_points.get(name, 0), sum(own_points.values()))
    decided = sum(told.call in CALLS for one in judged for told in one.told)
    shares["ways with a call"] = share(decided, sum(len(one.told) for one in judged))
    shares["photographs with opposite calls"] = share(sum(one.opposite for one in judged), len(judged))
    ratios = [one.ratio_spread for one in judged if one.ratio_spread is not None]
    by_zone = {str(zone): [round(one.zones[str(zone)], 3) for one in judged if str(zone) in one.zones] for zone in Zone}
    return {
        "shares": shares,
        "log10_lr_sd": {"median": _rounded(np.median(ratios)) if ratios else None,
                        "worst": _rounded(max(ratios)) if ratios else None, "photographs": len(ratios)},
        "zone_overlap": {name: {"median": _rounded(np.median(v)) if v else None, "n": len(v), "each": v}
                         for name, v in by_zone.items()},
        "zones_named_unmarked": dict(Counter(zone for one in judged for zone in one.extra)),
        "points": {mark: {read: points[mark, read] for read in (*SHOWN, NOT_READ) if points[mark, read]}
                   for mark in SHOWN},
        "not_markable_found": share(sum(t.found for o in judged if o.marks.outline is None for t in o.told),
                                    sum(len(o.told) for o in judged if o.marks.outline is None)),
    }  # fmt: skip


def share(count: int, n: int) -> dict[str, Any]:
    """A count of n with its 95 % interval (Wilson); the ways of one photograph are not independent of each other."""
    from dialtell.train.stats.proportion import wilson

    return {"count": count, "of": n, "interval_95": [round(v, 4) for v in wilson(count, n)] if n else None}


def document(judged: Sequence[Judged], weights: Weights, unmarked: Sequence[str]) -> dict[str, Any]:
    """Everything, ready for JSON."""
    photos = [
        {
            "photo": one.marks.photo, "outline_marked": (outline := one.marks.outline) is not None,
            "marks_fit": None if outline is None else _rounded(one.marks.fit_px / outline.pixels_per_radius),
            "ways": [{key: _rounded(value) if isinstance(value, float) else value for key, value in vars(told).items()
                      if key != "place"} for told in one.told],
            "log10_lr_sd": _rounded(one.ratio_spread), "opposite": one.opposite,
            "zones": {name: _rounded(value) for name, value in one.zones.items()}, "zones_named_unmarked": one.extra,
            "points": {name: {"right": right, "of": of} for name, (right, of) in one.right.items()},
        }
        for one in judged
    ]  # fmt: skip
    return {
        "schema": SCHEMA, "model": weights.identity, "reader": weights.reader.identity, "photographs": len(judged),
        "unmarked": list(unmarked), "figures": figures(judged), "photos": photos,
    }  # fmt: skip


def _rounded(value: Any) -> float | None:
    return None if value is None or not math.isfinite(value) else round(float(value), 4)


def table(found: dict[str, Any]) -> str:
    """The document for a terminal."""
    own = found["figures"]
    lines = [f"{'photograph':<30}{'found':>6}{'off %, as is':>13}{'worst':>7}{'sure':>6}{'12 right':>9}{'LR sd':>7}"
             "  zones and points right, as is"]  # fmt: skip
    for one in found["photos"]:
        ways = one["ways"]
        offs = [way["off"] for way in ways if way["off"] is not None]
        first = ways[0]
        asked = [way["turned"] for way in ways if way["turned"] is not None]
        said = [f"{name} {value:.2f}" for name, value in one["zones"].items()]
        said += [f"({name} not marked)" for name in one["zones_named_unmarked"]]
        of = sum(v["of"] for v in one["points"].values())
        said += [f"points {sum(v['right'] for v in one['points'].values())}/{of}"] if of else []
        off = "-" if first["off"] is None else f"{100 * first['off']:.1f}"
        worst = f"{100 * max(offs):.1f}" if offs else "-"
        sure = "-" if first["certainty"] is None else f"{first['certainty']:.2f}"
        right = f"{sum(v <= TWELVE for v in asked)}/{len(asked)}" if asked else "-"
        sd = "-" if one["log10_lr_sd"] is None else f"{one['log10_lr_sd']:.2f}"
        count = f"{sum(way['found'] for way in ways)}/{len(ways)}"
        lines.append(f"{one['photo'][:29]:<30}{count:>6}{off:>13}{worst:>7}{sure:>6}{right:>9}{sd:>7}  "
                     f"{', '.join(said)}")  # fmt: skip
    lines += ["", *(share_line(name, one) for name, one in own["shares"].items())]
    lines.append(share_line("found where no outline could be marked, all ways", own["not_markable_found"]))
    lr = own["log10_lr_sd"]
    lines.append(f"SD of log10 LR over the ways: median {lr['median']}, worst {lr['worst']}, n = {lr['photographs']}")
    for name, one in own["zone_overlap"].items():
        lines.append(f"overlap of {name}: median {one['median']}, n = {one['n']}: {one['each']}")
    lines += [f"zones named but not marked, as is: {own['zones_named_unmarked'] or 'none'}", ""]
    return "\n".join([*lines, *points_table(own["points"])])


def share_line(name: str, one: dict[str, Any]) -> str:
    """One share in a line."""
    interval = "" if one["interval_95"] is None else "  {:.3f} to {:.3f}".format(*one["interval_95"])
    ratio = "-" if not one["of"] else f"{one['count'] / one['of']:.3f}"
    return f"{name:<70}{one['count']:>5} of {one['of']:<5}{ratio:>6}{interval}"


def points_table(points: dict[str, dict[str, int]]) -> list[str]:
    """Rows as marked, columns as read."""
    names = [*SHOWN, NOT_READ]
    lines = ["marked \\ read " + "".join(f"{name:>9}" for name in names)]
    return lines + [f"{mark:<14}" + "".join(f"{row.get(name, 0):>9}" for name in names) for mark, row in points.items()]


def main(arguments: Sequence[str] | None = None) -> int:
    """Measure and print; exit status 1 when a table or the reader cannot be read."""
    parser = argparse.ArgumentParser(
        prog="python tests/trials reading/against_marks", description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )  # fmt: skip
    parser.add_argument("--photos", type=Path, nargs="+", required=True, metavar="DIR")
    parser.add_argument("--marks", type=Path, required=True, metavar="FOLDER")
    parser.add_argument("--reader", type=Path, metavar="FILE.safetensors", help="default: the one that comes with it")
    parser.add_argument("--out", type=Path, metavar="FILE.json")
    args = parser.parse_args(arguments)
    import cv2
    import torch

    from dialtell.evaluate.words.document import json_text
    from dialtell.model.net.weights_file import load_weights
    from dialtell.model.reader.file import load_reader

    cv2.setNumThreads(1)
    torch.set_num_threads(1)
    try:
        marks = read_marks(args.marks)
        weights = load_weights()
        if args.reader is not None:
            weights = replace(weights, reader=load_reader(args.reader))
        files = sorted(file for place in args.photos for file in place.iterdir() if file.is_file())
        own = [file for file in files if file.name in marks]
        judged = []
        with tempfile.TemporaryDirectory() as name:
            for file in own:
                judged.append(judge_photo(file, marks[file.name], weights, Path(name)))
                print(file.name, file=sys.stderr)
        absent = sorted(set(marks) - {file.name for file in own})
    except (DialtellError, OSError) as error:
        print(f"against_marks: error: {error}", file=sys.stderr)
        return 1
    found = document(judged, weights, absent)
    if args.out is not None:
        args.out.write_text(json_text(found) + "\n", encoding="utf-8")
    print(table(found))
    if absent:
        print(f"marked, but not there: {', '.join(absent)}")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
