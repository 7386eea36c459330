"""Rows of a benchmark as if photographs had been judged: what several tests of it need, without any photograph."""

from pathlib import Path

from dialtell.evaluate.benchmark.benchmark import benchmark
from dialtell.evaluate.benchmark.rows import BenchmarkRow, JudgedCall
from dialtell.model.net.calibration import HAND, PRINTED, UNDETERMINED, threshold
from dialtell.train.photographs.labels import LabelledPhoto


def row(
    number,
    label,
    ratio,
    *,
    cluster=None,
    call=None,
    px_per_mm=30.0,
    found=True,
    zones=None,
    answers=None,
    withheld=False,
    **said,
):
    """A row whose call follows from its ratio unless given."""
    if call is None:
        sure = ratio is not None and abs(ratio) >= threshold()
        call = UNDETERMINED if not sure else HAND if ratio > 0 else PRINTED
    photo = LabelledPhoto(number, f"{number}.png", Path(f"{number}.png"), f"{number:064x}", label, zones or {}, **said)
    return BenchmarkRow(
        photo,
        number if cluster is None else cluster,
        JudgedCall(call, ratio, withheld=withheld),
        answers or {},
        px_per_mm if found else None,
        found,
    )


MODEL = {"name": "made", "version": "1", "sha256": "0" * 64}


def document(rows, caps=(-2.0, 2.0)):
    made = benchmark(rows, MODEL, caps, draws=200)
    head = {"schema": "dialtell.benchmark/1", "labels": "labels.csv", "settings": {}, "problems": [], "against": None}
    return head | made
