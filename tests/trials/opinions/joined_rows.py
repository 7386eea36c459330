"""What the net and the measurements say of drawn dials and of dials by other code: rows in a file, gone on with.

One line of JSON a dial, written as soon as it is judged. Groups:
    fit       drawn as for training, whole dials: what a joint sum is fitted to
    families  the same with letterforms, marks and layouts that training never had (train.run.holdout)
    harder    letterforms of training, worse cameras and hands further from its own than training draws
    outside   figures by other code: handwriting against the same repeated, and two kinds of type (trials.outside)
"""

from __future__ import annotations

import json
import tempfile
import time
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from dialtell.evaluate.ladder.rungs import LIKE_TRAINING, balanced
from dialtell.synth.scene import RENDERER_VERSION, DialSpec
from dialtell.synth.shared.errors import OutputError
from dialtell.synth.shared.files import append
from dialtell.synth.shared.workers import in_order
from dialtell.train.run.holdout import HELD_OUT

if TYPE_CHECKING:
    from dialtell.model.net.verdict import Verdict
    from dialtell.model.net.weights_file import Weights
    from dialtell.model.reading.steps import Reading

Row = dict[str, Any]
Job = tuple[str, int]  # group, index

SEED = 7_700_001
# whole dials that resolve something: of close-ups and small pictures there is little to measure
WHOLE = replace(LIKE_TRAINING, part=0.0, pixels_per_radius=(300.0, 1000.0), max_side=2400)
SCOPES = {
    "fit": WHOLE,
    "families": replace(WHOLE, variety=HELD_OUT),
    "harder": replace(WHOLE, rough=1.0, jitter_spread=0.6),
}
OUTSIDE = "outside"
GROUPS = (*SCOPES, OUTSIDE)


def spec_of(group: str, index: int) -> DialSpec:
    """Drawn dial `index` of a group: even painted, odd printed, each its own picture."""
    return balanced(SEED + list(SCOPES).index(group), index, SCOPES[group])


def judged_row(group: str, index: int, weights: Weights) -> Row:
    """One dial drawn, read, judged by the net and measured.

    hand : 1 painted, 0 printed. cluster : what belongs together. net : log10 LR of the dial before its cap, None where
    nothing was judged or no call is made. zones : calls of its zones. scale, values : as of reference_spread.
    seconds : of processor, [scoring, measuring] a picture, None of drawn ones, which no file was read for.
    """
    return _outside(index, weights) if group == OUTSIDE else _drawn(group, index, weights)


def _drawn(group: str, index: int, weights: Weights) -> Row:
    from dialtell.model.net.resolution import resolution_of
    from dialtell.model.net.verdict import judge
    from dialtell.synth.scene import photograph
    from dialtell.train.bags.bags import read_spec, reading_rng, truth_of

    spec = spec_of(group, index)
    reading = read_spec(spec, photograph(spec), rng=reading_rng(spec))
    carries = resolution_of(reading, weights.record, None).carries_strokes
    verdict = judge(reading.patches, weights, withheld=not carries)
    about = {"group": group, "index": index, "hand": truth_of(spec)[1], "cluster": f"{group} {index}", "seconds": None}
    return {**about, **_said(reading, verdict)}


def _outside(index: int, weights: Weights) -> Row:
    from PIL import Image
    from trials.outside.dials import Kind, drawn, sample_outside
    from trials.outside.outside import SEED as OTHERS

    from dialtell.evaluate.score.score import score_photo
    from dialtell.model.reading.known import Known

    number, turn = index % len(Kind), index // len(Kind)
    kind = tuple(Kind)[number]
    spec = sample_outside(kind, rng=np.random.default_rng((OTHERS, number, turn)))
    with tempfile.TemporaryDirectory(prefix="dialtell-") as folder:
        path = Path(folder) / "dial.png"
        Image.fromarray(drawn(spec)).save(path, compress_level=1)
        start = time.process_time()
        scored = score_photo(path, weights, known=Known(outline=spec.photograph.outline))
        scoring = time.process_time() - start
    about = {"group": OUTSIDE, "index": index, "hand": int(kind.hand), "cluster": spec.source, "kind": kind.value}
    if scored.reading is None or scored.verdict is None:
        return {**about, "net": None, "zones": [], "scale": 0.0, "values": {}, "seconds": None}
    start = time.process_time()
    said = _said(scored.reading, scored.verdict)
    return {**about, **said, "seconds": [round(scoring, 3), round(time.process_time() - start, 3)]}


def _said(reading: Reading, verdict: Verdict) -> Row:
    """What both say; dials whose call is withheld are not measured, a sum would be withheld likewise."""
    from dialtell.evaluate.measurements.gathering import measure_reading

    told, scale = verdict.explanation, round(reading.sharpness.true_pixels_per_radius, 2)
    row: Row = {"net": None, "zones": [], "scale": scale, "values": {}}
    if told is None or verdict.whole.withheld:
        return row
    zones = sorted({zone.call for zone in verdict.zones.values()})
    values = {f"{f.zone}|{f.measure.name}": float(f"{f.value:.5g}") for f in measure_reading(reading)[1]
              if f.value is not None}  # fmt: skip
    return row | {"net": round(told.total, 4), "zones": zones, "values": values}


@cache
def loaded(path: str | None) -> Weights:
    """The weights, on one thread, once a process."""
    import cv2
    import torch

    from dialtell.model.net.weights_file import load_weights

    cv2.setNumThreads(1)
    torch.set_num_threads(1)
    return load_weights(None if path is None else Path(path))


def made_with(weights: Weights) -> dict[str, str]:
    """What a row must have been made with to be gone on with."""
    return {"weights": weights.sha256[:12], "renderer": RENDERER_VERSION}


def read_rows(path: Path, made: Mapping[str, str]) -> list[Row]:
    """Whole rows of a file that were made alike; no file, no rows. A last line cut off is taken off the file."""
    if not path.exists():
        return []
    data = path.read_bytes()
    whole = data[: data.rfind(b"\n") + 1]
    if whole != data:
        with path.open("r+b") as file:
            file.truncate(len(whole))
    try:
        rows = [json.loads(line) for line in whole.decode().splitlines()]
        return [row for row in rows if made.items() <= row.items()]
    except (ValueError, AttributeError) as error:
        raise OutputError(f"{path}: a line of the rows is damaged ({error}); give another --rows") from None


def jobs_of(counts: Mapping[str, int]) -> list[Job]:
    """All groups in step, so that a run that was stopped has its share of each."""
    jobs = [((index + 0.5) / count, group, index) for group, count in counts.items() for index in range(count)]
    return [(group, index) for _, group, index in sorted(jobs)]


def append_rows(path: Path, jobs: Sequence[Job], weights: str | None, workers: int) -> Iterator[Row]:
    """Judge each dial, write its row, yield it."""
    for row in in_order(_job, [(weights, *job) for job in jobs], workers):
        append(path, (json.dumps(row, allow_nan=False) + "\n").encode())
        yield row


def _job(job: tuple[str | None, str, int]) -> Row:
    path, group, index = job
    weights = loaded(path)
    return {**made_with(weights), **judged_row(group, index, weights)}
