"""Making and measuring the plate test on drawn pairs: `python tests/trials plates/plate_pairs --rows pairs.jsonl`.

Every index gives one pair of each kinship at each resolution; its numbers are added to the rows file as soon as they
are measured, and a run that was stopped goes on there, with any number of workers. Pairs of even index fit the model
and its caps, those of odd index measure it. The model goes to plate_test.json beside the rows, figures to standard
output. About 2, 3 and 12 s of one core an index at 15, 30 and 60 px/mm.
"""

from __future__ import annotations

import argparse
import json
import logging
import sys
import time
from collections.abc import Iterator, Sequence
from itertools import takewhile
from pathlib import Path

from tqdm import tqdm
from trials.plates.pair_rows import PairRow, append_rows, pair_rows, read_rows
from trials.plates.plate_fit import figures, fit, fits

from dialtell.evaluate.compare.plate_test import FILE, model_from
from dialtell.synth.shared.files import write_text
from dialtell.synth.shared.workers import in_order

log = logging.getLogger("dialtell.plate_pairs")
SEED = 8_000_009
RESOLUTIONS_PER_MM = (15.0, 30.0, 60.0)
Job = tuple[int, int, float]


def parser() -> argparse.ArgumentParser:
    """The command's flags."""
    made = argparse.ArgumentParser(
        prog="python tests/trials plates/plate_pairs", description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )  # fmt: skip
    made.add_argument("--rows", type=Path, required=True, metavar="FILE.jsonl", help="rows file, gone on with")
    made.add_argument("--count", type=int, default=1000, help="indices, half of them measured (default: %(default)s)")
    made.add_argument(
        "--px-per-mm", type=float, nargs="+", default=RESOLUTIONS_PER_MM, help="resolutions (default: 15 30 60)"
    )
    made.add_argument("--workers", type=int, default=1, help="processes (default: 1)")
    made.add_argument("--seed", type=int, default=SEED, help="of the set of pairs (default: %(default)s)")
    made.add_argument("--minutes", type=float, help="stop handing out pairs after as long (default: no limit)")
    made.add_argument("--no-fit", action="store_true", help="only add rows")
    return made


def main(argv: list[str] | None = None) -> int:
    """The command."""
    args = parser().parse_args(argv)
    logging.basicConfig(level=logging.INFO, format="%(message)s")
    rows = read_rows(args.rows)
    done = {(row.seed, row.index, row.px_per_mm) for row in rows}
    jobs = [(args.seed, index, px) for index in range(args.count) for px in args.px_per_mm]
    left = [job for job in jobs if job not in done]
    log.info("%d of %d measured already", len(jobs) - len(left), len(jobs))
    until = None if args.minutes is None else time.monotonic() + 60 * args.minutes
    measured = append_rows(args.rows, _measured(left, args.workers, until))
    for group in tqdm(measured, total=len(left), disable=None, unit="index"):
        rows += group
    if args.no_fit:
        return 0
    own = [row for row in rows if row.seed == args.seed]
    record = fit([row for row in own if fits(row)])
    table = figures([row for row in own if not fits(row)], model_from(record))
    record["figures"] = {"seed": args.seed, "table": table}
    write_text(args.rows.with_name(FILE), json.dumps(record, indent=1) + "\n", overwrite=True)
    print(json.dumps(table, indent=1))
    return 0


def _measured(jobs: Sequence[Job], workers: int, until: float | None) -> Iterator[list[PairRow]]:
    """Rows of each job; none is begun after `until`."""
    in_time = takewhile(lambda _: until is None or time.monotonic() < until, jobs)
    return in_order(_rows, in_time, workers)


def _rows(job: Job) -> list[PairRow]:
    return pair_rows(*job)


if __name__ == "__main__":
    sys.exit(main())
