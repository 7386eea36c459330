"""How well drawn photographs are read through the whole line, and whether the certainties hold.

    python tests/trials reading/drawn --count 200 [--reader PATH] [--out FILE.json]

The photographs are of the kind that the reader's own figures are from, with a seed neither training nor those figures
used: whole dials of every make in any setting, one in five without a dial, 1000 px on the longer side. Each is written
to a file and scored as any photograph is. A smoke test of the line, no proof for photographs.
"""

from __future__ import annotations

import argparse
import math
import sys
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image
from trials.reading.against_marks import CALLS, share, share_line

from dialtell.evaluate.score.recognised import LEAST_CERTAIN
from dialtell.model.reading.ellipse import Ellipse
from dialtell.model.reading.looks import Look
from dialtell.synth.settings.compose import Example
from dialtell.synth.shared.errors import DialtellError
from dialtell.synth.shared.terms import MAKES, SEEN, Make

if TYPE_CHECKING:
    from dialtell.model.net.weights_file import Weights

SCHEMA = "dialtell.drawn-read/1"
SEED = 6_200_003
BINS = (0.0, 0.2, 0.5, 0.8, 0.95, 0.99, 1.0)
OUTLINE, TWELVE = 0.02, 3.0  # dial radii, degrees, within which a certainty promises to be
FRAMED = 0.98  # share of the outline in the frame from which a dial counts as whole
Counts = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Read:
    """One drawn photograph read.

    dial : whether there is one. shown : share of its outline in the frame. radius : px. off : dial radii, mean distance
    of the outlines; turned : degrees; both NaN where nothing can be compared. outline, twelve : certainties; outline is
    None where none is stated, of a close-up whose course is assumed, which a remark says. close_up : whether it was
    read as one. make : true; told : the likeliest; other : whether it was said to be no enamel. met, joined :
    (len(SEEN),) px of intersection and union in the square look.
    """

    index: int
    dial: bool
    shown: float
    radius: float
    make: Make
    found: bool = False
    call: str = "undetermined"
    close_up: bool = False
    off: float = math.nan
    outline: float | None = math.nan
    turned: float = math.nan
    twelve: float = math.nan
    told: str = ""
    other: bool = False
    met: Counts = field(default_factory=lambda: np.zeros(len(SEEN), np.int64))
    joined: Counts = field(default_factory=lambda: np.zeros(len(SEEN), np.int64))

    @property
    def right(self) -> bool:
        """Whether there is a dial and its outline is right to 2 %."""
        return self.found and self.dial and self.off < OUTLINE

    @property
    def warned(self) -> bool:
        """Whether the result says that the outline may be wrong."""
        return self.outline is None or self.outline < LEAST_CERTAIN


def read_drawn(index: int, example: Example, weights: Weights, folder: Path) -> Read:
    """Score one drawn photograph and compare; folder : for its file."""
    from dialtell.evaluate.score.recognised import other_make
    from dialtell.evaluate.score.score import score_photo
    from dialtell.model.reading.outline import NoDial, apart, ellipse_of, find_outline

    place = folder / "drawn.png"
    Image.fromarray(example.picture).save(place, compress_level=1)
    scored = score_photo(place, weights)
    true = None
    shown, radius = 0.0, math.nan
    if example.outline is not None:
        true = Ellipse(example.outline.center_px, example.outline.axes_px, example.outline.angle_rad)
        points = true.points(np.arange(180) * (np.pi / 90))
        shown = float(((points > 0) & (points < np.array(example.seen.shape[::-1]))).all(axis=1).mean())
        radius = math.sqrt(true.axes[0] * true.axes[1])
    reading = scored.reading
    told = Read(index, true is not None, shown, radius, example.make, reading is not None, scored.record["call"])
    if reading is None:
        return told
    sure = math.nan if reading.outline_certainty is None else reading.outline_certainty
    told = replace(told, outline=sure, close_up=reading.close_up is not None)
    if true is None:
        return told
    turned = reading.geometry.rotation - example.twelve
    off = apart(true, ellipse_of(reading.geometry))
    told = replace(
        told, off=off, turned=math.degrees(abs(math.atan2(math.sin(turned), math.cos(turned)))),
        twelve=math.nan if reading.twelve is None else reading.twelve.certainty,
        told=str(max(reading.make, key=lambda make: reading.make[make])) if reading.make else "",
        other=other_make(reading) is not None,
    )  # fmt: skip
    found = find_outline(scored.photo, weights.reader)
    if isinstance(found, NoDial) or not told.right:
        return told
    met, joined = overlaps(found.look, example.seen)
    return replace(told, met=met, joined=joined)


def overlaps(look: Look, seen: NDArray[np.uint8]) -> tuple[Counts, Counts]:
    """Px of intersection and of union of each of SEEN in a square look; seen : (H, W) truth in the photograph."""
    matrix = look.onto.copy()
    matrix[:, 2] += matrix[:, :2] @ (0.5, 0.5) - 0.5  # OpenCV counts from the first pixel's centre
    side = len(look.seen)
    outside = len(SEEN)
    true = cv2.warpAffine(
        seen, matrix, (side, side), flags=cv2.INTER_NEAREST, borderMode=cv2.BORDER_CONSTANT, borderValue=(outside,)
    )
    there = true != outside
    met, joined = np.zeros(len(SEEN), np.int64), np.zeros(len(SEEN), np.int64)
    for index in range(len(SEEN)):
        one, other = (look.seen == index) & there, true == index
        met[index], joined[index] = (one & other).sum(), (one | other).sum()
    return met, joined


def figures(read: Sequence[Read]) -> dict[str, Any]:
    """Shares, tables of certainty, makes, overlap by class."""
    dials = [one for one in read if one.dial]
    whole = [one for one in dials if one.shown >= FRAMED]
    found = [one for one in whole if one.found]
    right = [one for one in found if one.right]
    none = [one for one in read if not one.dial]
    all_found = [one for one in dials if one.found]
    own = [one for one in all_found if one.make is Make.ENAMEL and one.told]
    others = [one for one in all_found if one.make is not Make.ENAMEL and one.told]
    rows = {
        "dials found": _share(dials, lambda one: one.found),
        "dials found, whole in the frame": _share(whole, lambda one: one.found),
        "outline within 1 %, of found whole": _share(found, lambda one: one.off < 0.01),
        "outline within 2 %, of found whole": _share(found, lambda one: one.right),
        "12 within 3 degrees, of those within 2 %": _share(right, lambda one: one.turned <= TWELVE),
        "outline within 2 %, of all found": _share(all_found, lambda one: one.right),
        "off by more than 2 %, no warning, of all found": _share(
            all_found, lambda one: not one.right and not one.warned
        ),
        "right to 2 %, warned for nothing, of all found": _share(all_found, lambda one: one.right and one.warned),
        "dials read as close-ups": _share(dials, lambda one: one.close_up),
        "pictures without a dial in which one was found": _share(none, lambda one: one.found),
        "pictures without a dial with a call": _share(none, lambda one: one.call in CALLS),
        "make told, of all found": _share([*own, *others], lambda one: one.told == one.make),
        "enamel said to be of another make": _share(own, lambda one: one.other),
        "other makes so named": _share(others, lambda one: one.other),
        "other makes with a call": _share(others, lambda one: one.call in CALLS),
    }
    met = np.sum([one.met for one in read], axis=0) if read else np.zeros(len(SEEN))
    joined = np.sum([one.joined for one in read], axis=0) if read else np.zeros(len(SEEN))
    within = [one for one in all_found if one.right and not math.isnan(one.twelve)]
    return {
        "shares": rows,
        # a dial found where there is none is wrong
        "outline_certainty": reliability([one for one in read if one.found], lambda one: one.outline,
                                         lambda one: one.right),
        "twelve_certainty": reliability(within, lambda one: one.twelve, lambda one: one.turned <= TWELVE),
        "makes": {str(make): {str(said): sum(one.make is make and one.told == said for one in all_found)
                              for said in MAKES} for make in MAKES if make is not Make.NONE},
        "overlap": {str(seen): None if not joined[k] else round(float(met[k] / joined[k]), 4)
                    for k, seen in enumerate(SEEN)},
        "overlap_photographs": sum(bool(one.joined.any()) for one in read),
    }  # fmt: skip


def reliability(
    read: Sequence[Read], sure: Callable[[Read], float | None], right: Callable[[Read], bool]
) -> list[dict[str, Any]]:
    """A row for each range of certainty: its mean, and the share that was right. What states none has no row."""
    rows = []
    stated = [(one, certainty) for one in read if (certainty := sure(one)) is not None]
    for low, high in pairwise(BINS):
        within = [(one, c) for one, c in stated if low <= c < high or (high == 1.0 and c == 1.0)]
        own = [one for one, _ in within]
        mean = round(float(np.mean([c for _, c in within])), 4) if within else None
        rows.append({"from": low, "to": high, "mean": mean, "right": _share(own, right)})
    return rows


def _share(read: Sequence[Read], right: Callable[[Read], bool]) -> dict[str, Any]:
    return share(sum(right(one) for one in read), len(read))


def _rounded(certainty: float | None) -> float | None:
    return None if certainty is None else round(certainty, 4)


def table(found: dict[str, Any]) -> str:
    """The document for a terminal."""
    own = found["figures"]
    lines = [f"{found['count']} drawn photographs, seed {found['seed']}, reader {found['reader']['sha256'][:12]}"]
    lines += [share_line(name, one) for name, one in own["shares"].items()]
    for name, what in (("outline_certainty", "outline right to 2 %"), ("twelve_certainty", "12 right to 3 degrees")):
        lines.append(f"certainty, {what}:")
        for row in own[name]:
            mean = "-" if row["mean"] is None else f"{row['mean']:.3f}"
            lines.append(share_line(f"  {row['from']:.2f} to {row['to']:.2f}, mean {mean}", row["right"]))
    lines.append("make \\ told" + "".join(f"{name[:17]:>18}" for name in map(str, MAKES)))
    lines += [f"{name:<17}" + "".join(f"{n:>18}" for n in row.values()) for name, row in own["makes"].items()]
    lines.append(f"overlap in the square look, {own['overlap_photographs']} photographs (outline right to 2 %):")
    lines += [f"  {name:<28}{'-' if value is None else f'{value:.3f}'}" for name, value in own["overlap"].items()]
    lines.append("worst outlines:" if found["worst"] else "worst outlines: none beyond 2 %")
    for one in found["worst"]:
        lines.append(
            f"  {one['index']}: {one['off']}, {one['make']}, radius {one['radius']} px, shown {one['shown']}, "
            f"certainty {'not stated' if one['outline'] is None else one['outline']}"
        )
    without = ", ".join(f"{one['index']} ({one['call']})" for one in found["found_without"])
    lines.append(f"found in pictures without a dial: {without or 'none'}")
    return "\n".join(lines)


def main(arguments: Sequence[str] | None = None) -> int:
    """Draw, read, print; exit status 1 when the reader cannot be read."""
    parser = argparse.ArgumentParser(
        prog="python tests/trials reading/drawn", description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )  # fmt: skip
    parser.add_argument("--count", type=int, default=200, metavar="N", help="photographs (default: 200)")
    parser.add_argument("--seed", type=int, default=SEED, help=f"default: {SEED}")
    parser.add_argument("--reader", type=Path, metavar="FILE.safetensors", help="default: the one that comes with it")
    parser.add_argument("--out", type=Path, metavar="FILE.json")
    args = parser.parse_args(arguments)
    import torch
    from tqdm import tqdm

    from dialtell.evaluate.words.document import json_text
    from dialtell.model.net.weights_file import load_weights
    from dialtell.model.reader.file import load_reader
    from dialtell.train.reader.finish import photograph_of

    cv2.setNumThreads(1)
    torch.set_num_threads(1)
    try:
        weights = load_weights()
        if args.reader is not None:
            weights = replace(weights, reader=load_reader(args.reader))
    except DialtellError as error:
        print(f"drawn: error: {error}", file=sys.stderr)
        return 1
    with tempfile.TemporaryDirectory() as name:
        read = [
            read_drawn(index, photograph_of(args.seed, index), weights, Path(name))
            for index in tqdm(range(args.count), disable=None)
        ]
    wrong = sorted((one for one in read if one.found and one.dial and not one.right), key=lambda one: -one.off)
    found = {
        "schema": SCHEMA, "model": weights.identity, "reader": weights.reader.identity, "count": args.count,
        "seed": args.seed, "figures": figures(read),
        "worst": [{"index": one.index, "off": round(one.off, 4), "make": str(one.make), "radius": round(one.radius, 1),
                   "shown": round(one.shown, 3), "outline": _rounded(one.outline)} for one in wrong[:12]],
        "found_without": [{"index": one.index, "call": one.call, "outline": _rounded(one.outline)}
                          for one in read if one.found and not one.dial],
    }  # fmt: skip
    if args.out is not None:
        args.out.write_text(json_text(found) + "\n", encoding="utf-8")
    print(table(found))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
