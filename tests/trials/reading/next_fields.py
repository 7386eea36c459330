"""Does following the advice on what to photograph next settle more drawn dials than as many close-ups at random?

    python tests/trials reading/next_fields --minutes 25 [--first 20000] [--weights FILE] [--out FILE.json]

The dials of reading/one_dial: a whole view of 8 to 25 px/mm each. Of those that it does not settle, 4 close-ups where
the advice says and 4 anywhere on the design, both by the same cameras, lights and hands, of one size and scale (but for
the whole dial, where that is what is advised), half of them turned any way; the advised ones are aimed as by a hand.
Each is laid on the whole view by itself, and all that were laid are judged together. Several runs are brought together
with --join.
"""

from __future__ import annotations

import json
import math
import time
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray
from trials.reading.against_marks import share, share_line
from trials.reading.one_dial import LARGEST_MM, timed_parser, whole_spec

from dialtell.synth.making import make
from dialtell.synth.photograph.view import homography, to_px
from dialtell.synth.scene import DialSpec, Range, photograph, sample_photograph
from dialtell.synth.shared.terms import Process

if TYPE_CHECKING:
    from dialtell.evaluate.next_fields.choice import NextField
    from dialtell.evaluate.one_dial.dial import Opinion
    from dialtell.model.net.weights_file import Weights
    from dialtell.model.reading.steps import Reading

SCHEMA = "dialtell.next-fields-trial/1"
MOST = 4  # close-ups
ADVISED, RANDOM = "advised", "random"
AIM = 0.03  # dial radii, SD of a hand's aim
NEARER = (1.0, 1.25)  # times the scale asked for

Floats = NDArray[np.float64]


@dataclass
class Judged:
    """One dial that the whole view does not settle. hand : its truth. By arm and number of close-ups, from 0: raw :
    log10 LR before its cap; call. laid : by arm, whether each close-up was laid. asked : where the advised ones lie."""

    index: int
    hand: bool
    withheld: bool
    raw: dict[str, list[float]] = field(default_factory=dict)
    call: dict[str, list[str]] = field(default_factory=dict)
    laid: dict[str, list[bool]] = field(default_factory=dict)
    asked: list[str] = field(default_factory=list)


def close_spec(spec: DialSpec, number: int, per_radius: float, width: float, middle: Floats | None) -> DialSpec:
    """A close-up of a dial by another camera. per_radius : px asked for. width : of its square frame, dial radii.
    middle : mm, None for anywhere on the design, as close-ups are drawn."""
    rng = np.random.default_rng([spec.seed, spec.index, 4500 + number])
    radius = spec.design.radius_mm
    asked = per_radius * float(rng.uniform(*NEARER))
    scope = Range(pixels_per_radius=(asked, asked), max_side=1000, part=1.0)
    shot = sample_photograph(rng=rng, design=spec.design, scope=scope)
    side = round(width * per_radius)
    turned = float(rng.uniform(-180.0, 180.0)) if rng.random() < 0.5 else shot.view.roll_deg
    away, angle = radius * rng.uniform(0.15, 0.9), rng.uniform(0.0, 2.0 * math.pi)
    off = rng.normal(0.0, AIM * radius, 2)
    where = away * np.array([math.sin(angle), -math.cos(angle)]) if middle is None else middle + off
    view = replace(
        shot.view, roll_deg=turned, height_px=side, width_px=side, centre_x_px=0.0, centre_y_px=0.0, field="part"
    )
    x, y = 0.5 * side - to_px(homography(view), where)
    view = replace(view, centre_x_px=float(x), centre_y_px=float(y))
    return replace(spec, view=view, hands=shot.hands, light=shot.light, camera=shot.camera)


def judged_dial(seed: int, index: int, weights: Weights) -> Judged | bool:
    """Read and judge one dial; otherwise whether its whole view settles it: False also for those mixed, for clocks, and
    where the reader found no whole dial."""
    from dialtell.evaluate.next_fields.choice import WIDTH, next_fields
    from dialtell.evaluate.next_fields.spots import CLOSE
    from dialtell.evaluate.one_dial.dial import opinion
    from dialtell.evaluate.one_dial.placing import whole_view
    from dialtell.model.reading.known import Known
    from dialtell.model.reading.outline import NoDial
    from dialtell.model.reading.steps import read_dial
    from dialtell.train.bags.bags import photo_of

    spec = whole_spec(seed, index)
    processes = set(spec.making.processes)
    if len(processes) > 1 or spec.design.radius_mm > LARGEST_MM:
        return False
    coats = make(spec.design, spec.making)
    own = read_dial(photo_of(photograph(spec, coats)), None, weights.reader)
    if isinstance(own, NoDial) or own.close_up is not None:
        return False
    known = Known(diameter_mm=2 * spec.design.radius_mm)
    first = opinion([own], weights, known)
    if first.verdict.call != "undetermined":
        return True
    asked = next_fields(first.reading, first.verdict, first.resolution)
    if not asked or asked[-1].width > 1.0:
        return False
    view, found = whole_view(own), Judged(index, Process.HAND in processes, first.verdict.withheld)

    def middle(one: NextField) -> Floats:
        at = own.geometry.to_photo(np.array([one.x, one.y]))
        return to_px(np.asarray(np.linalg.inv(homography(spec.view)), np.float64), at)

    for arm in (ADVISED, RANDOM):
        readings, latest, queue = [own], first, list(asked)
        told: list[Any] = []
        found.raw[arm], found.call[arm], found.laid[arm] = [_raw(first)], [first.verdict.call], []
        for number in range(MOST):
            if not queue:  # ask anew, of all that was photographed
                queue = list(next_fields(latest.reading, replace_call(latest), latest.resolution)) or list(asked)
            one = queue.pop(0)
            size = (one.pixels_per_radius, one.width)
            if arm == RANDOM:
                size = (max(CLOSE, 0.5 * first.resolution.needed), WIDTH)
            close = close_spec(spec, number, *size, middle(one) if arm == ADVISED else None)
            reading, agreed = _laid(photo_of(photograph(close, coats)), view, own, weights)
            found.laid[arm].append(reading is not None)
            found.asked += [one.reason.partition(".")[0]] if arm == ADVISED else []
            if reading is not None:
                readings.append(reading)
                told += [] if agreed is None else [agreed]
                latest = opinion(readings, weights, known, told)
            found.raw[arm].append(_raw(latest))
            found.call[arm].append(latest.verdict.call)
    return found


def replace_call(latest: Opinion) -> Any:
    """The verdict as if it settled nothing, so that advice goes on."""
    verdict = latest.verdict
    return replace(verdict, whole=replace(verdict.whole, withheld=True))


def _laid(photo: Any, view: Any, own: Reading, weights: Weights) -> tuple[Reading | None, Any]:
    from dialtell.evaluate.one_dial.agreement import agreement
    from dialtell.evaluate.one_dial.placing import field_of, place_field
    from dialtell.model.reading.steps import read_within

    place = place_field(field_of(photo, weights.reader), view)
    if not place.placed or place.geometry is None:
        return None, None
    reading = read_within(photo, place.geometry, own, weights.reader)
    return reading, agreement(reading, own, weights)


def _raw(told: Opinion) -> float:
    explanation = told.verdict.explanation
    return 0.0 if explanation is None else explanation.total


def figures(dials: Sequence[Judged]) -> list[dict[str, Any]]:
    """By arm and number of close-ups."""
    from dialtell.train.stats.discrimination import delong

    hand = np.array([one.hand for one in dials])
    rows = []
    for arm in (ADVISED, RANDOM):
        for count in range(MOST + 1):
            raw = np.array([one.raw[arm][count] for one in dials])
            known = min(int(hand.sum()), int((~hand).sum())) > 1
            area, interval = delong(hand, raw) if known else (0.5, (0.0, 1.0))
            decided = [one for one in dials if one.call[arm][count] != "undetermined"]
            right = [one for one in decided if (one.call[arm][count] == "hand-painted") == one.hand]
            laid = float(np.mean([sum(one.laid[arm][:count]) for one in dials])) if dials else 0.0
            rows.append(
                {"arm": arm, "fields": count, "auc": round(area, 4),
                 "interval_95": [round(float(v), 4) for v in interval],
                 "decided": share(len(decided), len(dials)), "right": share(len(right), len(decided)),
                 "laid_mean": round(laid, 2)}
            )  # fmt: skip
    return rows


def against(dials: Sequence[Judged], count: int) -> dict[str, int]:
    """Of the same dials, how many only one arm settled rightly, and how many only one settled wrongly."""

    def settled(one: Judged, arm: str, *, rightly: bool) -> bool:
        call = one.call[arm][count]
        return call != "undetermined" and ((call == "hand-painted") == one.hand) == rightly

    found = {}
    for rightly, word in ((True, "rightly"), (False, "wrongly")):
        for arm, other in ((ADVISED, RANDOM), (RANDOM, ADVISED)):
            only = [
                one for one in dials if settled(one, arm, rightly=rightly) and not settled(one, other, rightly=rightly)
            ]
            found[f"{arm} alone, {word}"] = len(only)
    return found


def table(found: dict[str, Any]) -> str:
    """The document for a terminal."""
    lines = [
        f"{found['seen']} drawn watch dials, {found['settled']} settled by their whole view, {found['dials']} not; "
        f"seed {found['seed']}, {found['model']['name']} {str(found['model']['sha256'])[:12]}"
    ]
    for row in found["figures"]:
        low, high = row["interval_95"]
        lines.append(
            f"{row['arm']}, {row['fields']} close-ups ({row['laid_mean']} laid): AUC {row['auc']:.3f} "
            f"({low:.3f} to {high:.3f})"
        )
        lines += [share_line("  decided", row["decided"]), share_line("  right of those", row["right"])]
    lines += [f"{count} close-ups, of the same dials: {one}" for count, one in found["against"].items()]
    return "\n".join(lines)


def document(dials: Sequence[Judged], seen: int, seed: int, model: Any) -> dict[str, Any]:
    """All of it. seen : dials whose whole view was judged."""
    return {
        "schema": SCHEMA, "model": model, "seed": seed, "seen": seen, "settled": seen - len(dials),
        "dials": len(dials), "figures": figures(dials),
        "against": {str(count): against(dials, count) for count in range(1, MOST + 1)},
        "judged": [vars(one) for one in dials],
    }  # fmt: skip


def main(arguments: Sequence[str] | None = None) -> int:
    """Draw, ask, photograph, judge, print."""
    parser = timed_parser("reading/next_fields", __doc__, minutes=25.0, first=20000)
    parser.add_argument("--weights", type=Path, metavar="FILE.safetensors", help="default: those that come with it")
    parser.add_argument("--join", type=Path, nargs="+", metavar="FILE.json", help="of --out: tell them together")
    args = parser.parse_args(arguments)
    from dialtell.evaluate.words.document import json_text

    if args.join:
        parts = [json.loads(path.read_text("utf-8")) for path in args.join]
        joined = [Judged(**row) for part in parts for row in part["judged"]]
        print(table(document(joined, sum(part["seen"] for part in parts), parts[0]["seed"], parts[0]["model"])))
        return 0
    import cv2
    import torch

    from dialtell.model.net.weights_file import load_weights

    cv2.setNumThreads(1)
    torch.set_num_threads(1)
    weights, end = load_weights(args.weights), time.monotonic() + 60 * args.minutes
    dials: list[Judged] = []
    index, seen = args.first, 0
    while time.monotonic() < end:
        one = judged_dial(args.seed, index, weights)
        index += 1
        seen += one is not False
        if isinstance(one, Judged):
            dials.append(one)
            if args.out is not None:
                found = document(dials, seen, args.seed, weights.identity)
                args.out.write_text(json_text(found) + "\n", encoding="utf-8")
    print(table(document(dials, seen, args.seed, weights.identity)))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
