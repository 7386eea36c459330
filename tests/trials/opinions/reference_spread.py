"""Measurements of drawn dials, and the spreads they make: what a value measured on a photograph is held against.

    python tests/trials opinions/reference_spread --count 4000 --workers 30 \
        --out evaluate/measurements/reference_spread.json --opinion evaluate/measurements/second_opinion.json

Dials 2 i and 2 i + 1 are one picture, painted and printed. Dial i is the same on every machine and however many
processes share the work.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
from tqdm import tqdm

from dialtell.evaluate.measurements.spread import spread_of
from dialtell.synth.scene import RENDERER_VERSION, DialSpec, Range, photograph, printed_process, sample_spec
from dialtell.synth.shared.terms import Process
from dialtell.synth.shared.workers import in_order

SEED = 7_300_001
PROCESS_STREAM = 78  # of the rng that says which printed process, as in train.bags
READING_STREAM = 77


def scope() -> Range:
    """Watch dials whole in the frame, from 8 to 50 px/mm stored; what they resolve is less and varies."""
    return Range(pixels_per_radius=(190.0, 1150.0), max_side=2700, variety=Range().variety.without("clock"))


def spec_of(seed: int, index: int) -> DialSpec:
    """Dial `index` of a set: even painted, odd its printed twin, two prints in three by transfer."""
    picture = index // 2
    printed = printed_process(np.random.default_rng([seed, picture, PROCESS_STREAM]))
    return sample_spec(seed, picture, scope(), Process.HAND if index % 2 == 0 else printed)


def measured_dial(seed: int, index: int) -> dict[str, Any] | None:
    """Draw, photograph, read and measure one dial; None where it resolves nothing.

    hand : 1 painted, 0 printed. picture : shared by twins. scale : true px per dial radius. values : by "zone|name".
    """
    import cv2

    from dialtell.evaluate.measurements.gathering import measure_reading
    from dialtell.train.bags.bags import read_spec

    cv2.setNumThreads(1)
    spec = spec_of(seed, index)
    reading = read_spec(spec, photograph(spec), rng=np.random.default_rng([seed, index // 2, READING_STREAM]))
    if not reading.sharpness.true_pixels_per_radius > 0:
        return None
    _, findings = measure_reading(reading)
    values = {f"{f.zone}|{f.measure.name}": float(f"{f.value:.5g}") for f in findings if f.value is not None}
    return {
        "index": index,
        "hand": int(index % 2 == 0),
        "picture": index // 2,
        "process": spec.making.processes[0].value,
        "scale": round(reading.sharpness.true_pixels_per_radius, 2),
        "values": values,
    }


def _measured(job: tuple[int, int]) -> dict[str, Any] | None:
    return measured_dial(*job)


def measured_dials(seed: int, count: int, workers: int) -> Iterator[dict[str, Any]]:
    """Dials 0 to count - 1 of a set, in order, those left out that resolve nothing."""
    jobs = [(seed, index) for index in range(count)]
    rows = tqdm(in_order(_measured, jobs, workers), total=count, unit="dial", disable=None, file=sys.stderr)
    yield from (row for row in rows if row is not None)


def read_rows(path: str | Path) -> list[dict[str, Any]]:
    """Rows written by --rows."""
    return [json.loads(line) for line in Path(path).read_text(encoding="utf-8").splitlines() if line]


def main(arguments: list[str] | None = None) -> int:
    """Draw, measure, write the spread and, if asked, the second opinion fitted to the same dials."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--count", type=int, default=4000, metavar="N", help="dials, half painted (default: 4000)")
    parser.add_argument("--out", required=True, metavar="FILE", help="spread to write, JSON")
    parser.add_argument("--opinion", metavar="FILE", help="also fit the second opinion (needs scikit-learn)")
    parser.add_argument("--rows", metavar="FILE", help="also write every dial's measurements as JSON lines")
    parser.add_argument("--from-rows", metavar="FILE", help="take the dials from such a file instead of drawing them")
    parser.add_argument("--workers", type=int, default=len(os.sched_getaffinity(0)), metavar="N")
    args = parser.parse_args(arguments)
    if args.count < 2:
        parser.error(f"--count is {args.count}; give at least 2, a painted dial and its printed twin")
    from dialtell.evaluate.measurements.spread import to_json

    rows = read_rows(args.from_rows) if args.from_rows else list(measured_dials(SEED, args.count, args.workers))
    if args.rows:
        Path(args.rows).write_text("".join(json.dumps(row) + "\n" for row in rows), encoding="utf-8")
    document = to_json(spread_of(rows, RENDERER_VERSION))
    Path(args.out).write_text(json.dumps(document, separators=(",", ":")) + "\n", encoding="utf-8")
    if args.opinion:
        from trials.opinions.opinion_fit import fit_opinion

        fitted = fit_opinion(rows, RENDERER_VERSION)
        Path(args.opinion).write_text(json.dumps(fitted, indent=1) + "\n", encoding="utf-8")
    print(json.dumps({"dials": len(rows), "measurements": len(document["measurements"])}))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
