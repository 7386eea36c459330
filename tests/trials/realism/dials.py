"""Real dials to measure on, and drawn ones as finely resolved, both read as a photograph handed in is read.

A list of photographs is a CSV file with a header: `file` (name in one of the folders); `truth` or `label` (painted,
hand-painted, printed; anything else is unknown); and, where known, `certainty` (low: the truth is not relied on),
`enamel`, and `source`, which says whose photograph it is: one source is one cluster; a source that begins with "same"
goes on with the row before. Photographs are for measuring; neither they nor their lists belong to the project.
"""

from __future__ import annotations

import argparse
import ast
import csv
import math
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dialtell.evaluate.score.recognised import LEAST_CERTAIN
from dialtell.model.reading.known import UNKNOWN
from dialtell.model.reading.outline import NoDial
from dialtell.model.reading.photo import Photo, read_photo
from dialtell.model.reading.steps import Reading, read
from dialtell.synth.scene import Range, render, sample_spec
from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.shared.sizes import size_mm
from dialtell.synth.shared.terms import Process
from dialtell.train.bags.bags import photo_of

REPOSITORY = Path(__file__).resolve().parents[3]
TRUTHS = {"painted": 1, "hand-painted": 1, "printed": 0}
UNSURE = -1
RADIUS_MM = 0.5 * size_mm(18)  # px/mm are of an 18 size dial, whatever dial it is
STORED = 1.1  # px stored per px resolved of a drawn dial at the first attempt; the next make up for what it was
LIKE = 0.2  # octaves by which a drawn dial may resolve more or less than the real one it is to be like
ATTEMPTS = 3
SEED = 6_400_017


@dataclass(frozen=True, eq=False)
class Dial:
    """One dial read.

    name : of the file, or of the drawn dial. cluster : photographs of one cluster are not independent.
    hand : 1 painted, 0 printed, -1 not known or not relied on. enamel : False where it is known to be none.
    """

    name: str
    cluster: str
    hand: int
    enamel: bool
    photo: Photo
    reading: Reading

    @property
    def resolved(self) -> float:
        """Px per dial radius that carry detail."""
        return self.reading.sharpness.true_pixels_per_radius


@dataclass(frozen=True)
class Row:
    """One line of a list; see Dial."""

    file: str
    cluster: str
    hand: int
    enamel: bool


def read_list(path: Path) -> list[Row]:
    """The rows of a list. ParameterError names the column that is missing."""
    rows: list[Row] = []
    with path.open(encoding="utf-8", newline="") as lines:
        for given in csv.DictReader(lines):
            truth = given.get("truth", given.get("label"))
            if "file" not in given or truth is None:
                raise ParameterError(f"{path}: has no column file, or neither truth nor label; give both")
            source = given.get("source") or given["file"]
            cluster = rows[-1].cluster if source.startswith("same") and rows else source
            hand = UNSURE if given.get("certainty") == "low" else TRUTHS.get(truth, UNSURE)
            rows.append(Row(given["file"], cluster, hand, not (given.get("enamel") or truth).startswith("not")))
    return rows


def why_not(reading: Reading) -> str:
    """Why a reading says nothing of the drawing; "" where it does."""
    if reading.outline_certainty is not None and reading.outline_certainty < LEAST_CERTAIN:
        return f"outline certain to {reading.outline_certainty:.2f} only"
    if reading.sharpness.halftone:
        return "a dot screen"
    return "" if reading.sharpness.true_pixels_per_radius > 0 else "too few clean edges"


def real_dials(lists: Sequence[Path], folders: Sequence[Path]) -> tuple[list[Dial], dict[str, str]]:
    """The dials of all listed photographs, and why others were left out, by name.

    ParameterError where nothing is left.
    """
    dials: list[Dial] = []
    left_out: dict[str, str] = {}
    for row in (row for path in lists for row in read_list(path)):
        file = next((folder / row.file for folder in folders if (folder / row.file).is_file()), None)
        if file is None:
            left_out[row.file] = "not there"
            continue
        photo = read_photo(file)
        found = read(photo, UNKNOWN)
        reason = found.reason if isinstance(found, NoDial) else why_not(found[0])
        if isinstance(found, NoDial) or reason:
            left_out[row.file] = reason
        else:
            dials.append(Dial(row.file, row.cluster, row.hand, row.enamel, photo, found[0]))
    if not dials:
        raise ParameterError(f"lists name {len(left_out)} photographs and none could be used: {left_out}")
    return dials, left_out


def drawn_dials(count: int, like: Sequence[float], scope: Range, *, seed: int = SEED) -> Iterator[Dial]:
    """`count` drawn dials, fewer where one cannot be read: dial i resolves what like[i mod n] does, to LIKE octaves.

    like : px per dial radius that real dials resolve. Half are painted. Pure in its arguments.
    """
    for index in range(count):
        aim = like[index % len(like)]
        stored = STORED * aim
        for _ in range(ATTEMPTS):
            spec = sample_spec(seed, index, replace(scope, pixels_per_radius=(stored, stored), max_side=8000))
            photo = photo_of(render(spec))
            found = read(photo, UNKNOWN)
            if isinstance(found, NoDial) or why_not(found[0]):
                break
            dial = Dial(f"drawn {index}", f"drawn {index}", _hand(spec.making.processes), True, photo, found[0])
            off = math.log2(dial.resolved / aim)
            if abs(off) <= LIKE:
                yield dial
                break
            stored = float(np.clip(stored * 2.0**-off, 40.0, 2500.0))


def _hand(processes: Sequence[Process]) -> int:
    kinds = {int(process is Process.HAND) for process in processes}
    return kinds.pop() if len(kinds) == 1 else UNSURE


def scope_of(words: Sequence[str], scope: Range | None = None) -> Range:
    """A Range with fields changed: NAME=VALUE, or variety.NAME=VALUE.

    A field that this renderer lacks is named on standard error and passed over, so that one command serves several
    renderers. ParameterError for a word that is no NAME=VALUE.
    """
    scope = scope or Range()
    for word in words:
        name, equals, text = word.partition("=")
        try:
            value = ast.literal_eval(text)
        except (ValueError, SyntaxError):
            equals = ""
        if not equals:
            raise ParameterError(f"range is {word!r}; give NAME=VALUE with a number, True, False or a tuple")
        inner, owner = name.removeprefix("variety."), scope.variety if name.startswith("variety.") else scope
        if inner not in {field.name for field in fields(owner)}:
            print(f"this renderer's range has no {name}: passed over", file=sys.stderr)
        elif owner is scope:
            scope = replace(scope, **{inner: value})
        else:
            scope = replace(scope, variety=replace(scope.variety, **{inner: value}))
    return scope


def outside(path: Path) -> Path:
    """The path, if it lies outside the repository; real photographs must not get in. ParameterError otherwise."""
    if path.resolve().is_relative_to(REPOSITORY):
        raise ParameterError(f"{path} lies inside the repository, where no real photograph may be; give another place")
    return path


def add_flags(parser: argparse.ArgumentParser) -> None:
    """The flags that all comparisons share."""
    parser.add_argument("--photos", type=Path, nargs="+", required=True, metavar="DIR", help="folders of photographs")
    parser.add_argument("--list", type=Path, nargs="+", required=True, metavar="FILE.csv", dest="lists")
    parser.add_argument("--range", nargs="+", default=[], metavar="NAME=VALUE", dest="words",
                        help="fields of the drawn dials' Range: jitter=0.25 variety.layouts=('clock',)")  # fmt: skip
    parser.add_argument("--seed", type=int, default=SEED, metavar="N", help=f"of the drawn dials (default: {SEED})")
    parser.add_argument("--json", type=Path, metavar="FILE.json", help="also write all figures, outside the project")


def one_thread() -> None:
    """Keep to one core."""
    import cv2
    import torch

    cv2.setNumThreads(1)
    torch.set_num_threads(1)


def reported(name: str, error: Exception) -> int:
    """Print an error as commands do; exit status 1."""
    print(f"{name}: error: {error}", file=sys.stderr)
    return 1


def grouped(values: NDArray[Any], keys: NDArray[Any]) -> tuple[NDArray[Any], NDArray[np.float64]]:
    """Distinct keys and the mean of the values of each."""
    names, member = np.unique(keys, return_inverse=True)
    return names, np.bincount(member, values) / np.bincount(member)
