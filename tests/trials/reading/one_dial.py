"""How well close-ups of drawn dials are laid on a whole view of them, and whether those of other dials are refused.

    python tests/trials reading/one_dial --minutes 20 [--fields 3] [--out FILE.json]

Each dial is drawn once and photographed several times: a whole view of 8 to 25 px/mm, and fields anywhere on it at 40
to 120 px/mm, each by a camera, a light and hands of its own, half of them turned any way. The whole view is read as any
photograph is. Every field is laid on it, on the view of the dial before (foreign), and on one of a dial of the same
design laid anew by another hand or plate (a sister). The place is compared with where the same dial's points lie on the
whole view; what is wrong with that view is wrong with both.
"""

from __future__ import annotations

import argparse
import math
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray
from trials.reading.against_marks import share, share_line

from dialtell.synth.making import make, sample_making
from dialtell.synth.photograph.view import homography, to_px
from dialtell.synth.scene import DialSpec, Range, photograph, sample_photograph, sample_spec
from dialtell.synth.shared.terms import Process

if TYPE_CHECKING:
    from dialtell.evaluate.one_dial.placing import Placing, WholeView
    from dialtell.model.reader.file import Reader

SCHEMA = "dialtell.one-dial-trial/1"
SEED = 7_700_219
WHOLE, CLOSE = (8.0, 25.0), (40.0, 120.0)  # px/mm
LARGEST_MM = 30.0  # radius of what counts as a watch
FRAME = 1000  # px, the longer side of a field
WRONG = 0.03  # dial radii, mean over the field, from which a place is wrong: a third of a division
SHOWN = ("sites", "share", "likeness", "spread", "even")  # of the best place
OWN, FOREIGN, SISTER = "own", "foreign", "sister"

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Laid:
    """One field laid on one whole view.

    kind : OWN, FOREIGN or SISTER. placed : whether a place was found. off : dial radii, mean over the field; off_mm.
    sites, share, likeness, spread, even, rival : of the best place, see placing. radius_mm, tilt_deg, per_mm : of the
    field.
    """

    index: int
    field: int
    kind: str
    placed: bool
    reason: str
    off: float = math.nan
    sites: int = 0
    share: float = 0.0
    likeness: float = 0.0
    spread: float = math.nan
    even: float = 0.0
    rival: float = 0.0
    radius_mm: float = 0.0
    tilt_deg: float = 0.0
    per_mm: float = 0.0
    seconds: float = 0.0

    @property
    def wrong(self) -> bool:
        """Whether it was placed where it is not."""
        return self.placed and self.off > WRONG


def whole_spec(seed: int, index: int) -> DialSpec:
    """A dial, and a whole view of it by a telephone."""
    spec = sample_spec(seed, index)
    return _photographed(spec, WHOLE, np.random.default_rng([seed, index, 4399]), part=0.0, side=1400)


def field_spec(spec: DialSpec, number: int, per_mm: tuple[float, float] = CLOSE) -> DialSpec:
    """A field of the same dial, by another camera; half of them are turned any way."""
    rng = np.random.default_rng([spec.seed, spec.index, 4400 + number])
    field = _photographed(spec, per_mm, rng, part=1.0, side=FRAME)
    if rng.random() < 0.5:
        return field
    view = field.view
    corner = np.array([0.5 * view.width_px, 0.5 * view.height_px], np.float64)
    shown = to_px(np.asarray(np.linalg.inv(homography(view)), np.float64), corner)
    turned = replace(view, roll_deg=float(rng.uniform(-180.0, 180.0)), centre_x_px=0.0, centre_y_px=0.0)
    x, y = corner - to_px(homography(turned), shown)
    return replace(field, view=replace(turned, centre_x_px=float(x), centre_y_px=float(y)))


def sister_spec(spec: DialSpec) -> DialSpec:
    """Another dial of the same design, by another hand or from another plate, in the same view."""
    rng = np.random.default_rng([spec.seed, spec.index, 4398])
    process = Process.HAND if rng.random() < 0.5 else Process.TRANSFER
    return replace(spec, making=sample_making(rng=rng, design=spec.design, process=process))


def _photographed(
    spec: DialSpec, per_mm: tuple[float, float], rng: np.random.Generator, *, part: float, side: int
) -> DialSpec:
    """The same dial in another photograph."""
    radius = spec.design.radius_mm
    scope = Range(pixels_per_radius=(per_mm[0] * radius, per_mm[1] * radius), max_side=side, part=part)
    shot = sample_photograph(rng=rng, design=spec.design, scope=scope)
    return replace(spec, view=shot.view, hands=shot.hands, light=shot.light, camera=shot.camera)


def off_place(placing: Placing, field: DialSpec, whole: DialSpec, view: WholeView) -> float:
    """Dial radii between where a field was laid and where its points lie on the whole view, mean over the field."""
    assert placing.geometry is not None
    height, width = field.view.shape
    x, y = np.meshgrid(np.linspace(0.1, 0.9, 5) * width, np.linspace(0.1, 0.9, 5) * height)
    points = np.stack([x.ravel(), y.ravel()], axis=1).astype(np.float64)
    mm = to_px(np.asarray(np.linalg.inv(homography(field.view)), np.float64), points)
    true = view.reading.geometry.to_dial(to_px(homography(whole.view), mm))
    return float(np.hypot(*(placing.geometry.to_dial(points) - true).T).mean())


def laid_fields(
    seed: int, index: int, fields: int, reader: Reader, before: WholeView | None
) -> tuple[list[Laid], WholeView | None]:
    """All fields of one dial laid on its own whole view, its sister's, and that of the dial before; and its view, None
    where the reader found no whole dial in it."""
    from dialtell.evaluate.one_dial.placing import field_of, place_field, whole_view
    from dialtell.model.reading.outline import NoDial
    from dialtell.model.reading.steps import read_dial
    from dialtell.train.bags.bags import photo_of

    def viewed(spec: DialSpec) -> WholeView | None:
        reading = read_dial(photo_of(photograph(spec)), None, reader)
        return None if isinstance(reading, NoDial) or reading.close_up is not None else whole_view(reading)

    spec = whole_spec(seed, index)
    own = viewed(spec)
    if own is None:
        return [], None
    coats = make(spec.design, spec.making)
    sister = viewed(sister_spec(spec)) if index % 3 == 0 else None  # a third of them: the look of one is dear
    found = []
    for number in range(fields):
        shot = field_spec(spec, number)
        field = field_of(photo_of(photograph(shot, coats)), reader)
        for kind, view in ((OWN, own), (FOREIGN, before), (SISTER, sister)):
            if view is None:
                continue
            start = time.perf_counter()
            placing = place_field(field, view)
            seconds = time.perf_counter() - start
            off = math.nan
            if kind == OWN and placing.geometry is not None:
                off = off_place(placing, shot, spec, view)
            fit = placing.fit
            told = {} if fit is None else {name: getattr(fit, name) for name in SHOWN}
            found.append(
                Laid(
                    index, number, kind, placing.placed, placing.reason, off, **told, rival=placing.rival,
                    radius_mm=spec.design.radius_mm, tilt_deg=shot.view.tilt_deg, per_mm=shot.view.px_per_mm,
                    seconds=seconds,
                )
            )  # fmt: skip
    return found, own


def figures(laid: Sequence[Laid], dials: int, unread: int) -> dict[str, Any]:
    """Shares with intervals, and how far off the places are."""
    own = [one for one in laid if one.kind == OWN]
    watches = [one for one in own if one.radius_mm <= LARGEST_MM]
    placed = [one for one in own if one.placed]
    shares = {
        "whole views not read": share(unread, dials),
        "fields placed wrongly, of all": share(sum(one.wrong for one in own), len(own)),
        "fields not placed, of all": share(sum(not one.placed for one in own), len(own)),
        "fields not placed, of watch dials": share(sum(not one.placed for one in watches), len(watches)),
    }
    for reason in sorted({one.reason for one in own if not one.placed}):
        shares[f"  {reason}"] = share(sum(one.reason == reason for one in own if not one.placed), len(own))
    for kind, name in ((FOREIGN, "fields of another dial merged"), (SISTER, "fields of a sister dial merged")):
        some = [one for one in laid if one.kind == kind]
        shares[name] = share(sum(one.placed for one in some), len(some))
    right = [one for one in placed if not one.wrong and one.radius_mm <= LARGEST_MM]
    return {"shares": shares, "off_mm": _quantiles([one.off * one.radius_mm for one in right]),
            "off_radii": _quantiles([one.off for one in right]),
            "left_over_mm": _quantiles([one.spread * one.radius_mm for one in right]),
            "seconds": _quantiles([one.seconds for one in laid])}  # fmt: skip


def _quantiles(values: Sequence[float]) -> dict[str, float] | None:
    known = np.array([value for value in values if math.isfinite(value)])
    if not len(known):
        return None
    median, most, worst = np.quantile(known, (0.5, 0.95, 1.0))
    return {"n": len(known), "median": round(float(median), 4), "of_95_in_100_at_most": round(float(most), 4),
            "most": round(float(worst), 4)}  # fmt: skip


def table(found: dict[str, Any]) -> str:
    """The document for a terminal."""
    own = found["figures"]
    lines = [
        f"{found['dials']} drawn dials, {found['fields']} fields each, seed {found['seed']}, from {found['first']}"
    ]
    lines += [share_line(name, one) for name, one in own["shares"].items()]
    names = {"off_mm": "off, mm (watch dials, placed rightly)", "off_radii": "off, dial radii",
             "left_over_mm": "left over at matching places, mm SD", "seconds": "seconds a field and view"}  # fmt: skip
    for name, words in names.items():
        if (row := own[name]) is not None:
            most = f"95 % {row['of_95_in_100_at_most']}, most {row['most']}, n {row['n']}"
            lines.append(f"{words:<44}median {row['median']}, {most}")
    lines.append("worst and merged:" if found["worst"] else "none placed wrongly, none merged")
    lines += [f"  {one}" for one in found["worst"]]
    return "\n".join(lines)


def all_laid(seed: int, first: int, most: int, minutes: float, fields: int) -> Iterator[tuple[int, list[Laid], bool]]:
    """(index, what was laid, whether its whole view was read) dial by dial, until the time is over."""
    from tqdm import tqdm

    from dialtell.model.reader.file import load_reader

    reader, before, end = load_reader(), None, time.monotonic() + 60 * minutes
    for index in tqdm(range(first, first + most), disable=None):
        if time.monotonic() > end:
            return
        laid, view = laid_fields(seed, index, fields, reader, before)
        yield index, laid, view is not None
        before = view or before


def timed_parser(name: str, about: str | None, *, minutes: float, first: int) -> argparse.ArgumentParser:
    """The flags of a trial that draws dial after dial until its time is up. name : of it, as ROOM/NAME."""
    parser = argparse.ArgumentParser(
        prog=f"python tests/trials {name}", description=about, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--minutes", type=float, default=minutes, help="stop then (default: %(default)g)")
    parser.add_argument(
        "--first", type=int, default=first, metavar="INDEX", help="of the first dial (default: %(default)s)"
    )
    parser.add_argument("--seed", type=int, default=SEED, help="default: %(default)s")
    parser.add_argument("--out", type=Path, metavar="FILE.json", help="written every few dials")
    return parser


def main(arguments: Sequence[str] | None = None) -> int:
    """Draw, lay, print."""
    parser = timed_parser("reading/one_dial", __doc__, minutes=20.0, first=0)
    parser.add_argument("--count", type=int, default=2000, metavar="N", help="dials at most (default: 2000)")
    parser.add_argument("--fields", type=int, default=3, metavar="N", help="close-ups of each dial (default: 3)")
    args = parser.parse_args(arguments)
    import cv2
    import torch

    from dialtell.evaluate.words.document import json_text

    cv2.setNumThreads(1)
    torch.set_num_threads(1)
    laid: list[Laid] = []
    dials = unread = 0
    for _, some, read in all_laid(args.seed, args.first, args.count, args.minutes, args.fields):
        laid += some
        dials, unread = dials + 1, unread + (not read)
        if args.out is not None and dials % 20 == 0:
            args.out.write_text(json_text(_document(args, laid, dials, unread)) + "\n", encoding="utf-8")
    found = _document(args, laid, dials, unread)
    if args.out is not None:
        args.out.write_text(json_text(found) + "\n", encoding="utf-8")
    print(table(found))
    return 0


def _document(args: argparse.Namespace, laid: Sequence[Laid], dials: int, unread: int) -> dict[str, Any]:
    bad = [one for one in laid if one.wrong or (one.kind != OWN and one.placed)]
    rows = [
        {key: None if isinstance(value, float) and math.isnan(value) else value for key, value in vars(one).items()}
        for one in laid
    ]
    return {
        "schema": SCHEMA, "seed": args.seed, "first": args.first, "dials": dials, "fields": args.fields,
        "figures": figures(laid, dials, unread), "rows": rows,
        "worst": [
            f"{one.kind} {one.index}.{one.field}: off {one.off:.3f}, {one.sites} places, share {one.share:.2f}, "
            f"likeness {one.likeness:.2f}, even {one.even:.2f}, rival {one.rival:.2f}, {one.per_mm:.0f} px/mm, "
            f"radius {one.radius_mm:.0f} mm"
            for one in bad[:40]
        ],
    }  # fmt: skip


if __name__ == "__main__":
    raise SystemExit(main())
