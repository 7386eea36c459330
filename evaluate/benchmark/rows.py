"""Labelled photographs judged: one row each, with the label beside the call."""

from __future__ import annotations

import logging
import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from dialtell.evaluate.score.score import score_photo
from dialtell.model.net.calibration import HAND, PRINTED, UNDETERMINED
from dialtell.model.net.resolution import Resolution
from dialtell.model.net.verdict import ProcessEvidence, Verdict
from dialtell.model.net.weights_file import Weights
from dialtell.model.reading.geometry import DialGeometry
from dialtell.model.reading.known import MAX_PIXELS, Outline
from dialtell.model.reading.steps import outlined
from dialtell.synth.shared.errors import DialtellError, ParameterError, fault_of_ours
from dialtell.synth.shared.sizes import size_mm
from dialtell.synth.shared.terms import Zone
from dialtell.train.photographs import labels
from dialtell.train.photographs.labels import LabelledPhoto
from dialtell.train.stats.clustered import linked

CLUSTERINGS = ("source", "dial", "photo")
ASSUMED_MM = size_mm(18)  # where a label gives no diameter
# truly resolved px/mm, as the figures that go with the weights
BANDS = (
    ("below 7 px/mm", 0.0, 7.0),
    ("7 to 15 px/mm", 7.0, 15.0),
    ("15 to 29 px/mm", 15.0, 29.0),
    ("29 px/mm and above", 29.0, math.inf),
)
NO_DIAL = "no dial found"
log = logging.getLogger("dialtell.benchmark")


@dataclass(frozen=True)
class JudgedCall:
    """A call and the ratio behind it; log10_lr None where nothing was judged. why : in words, where undetermined.

    withheld : no call would be made whatever the ratio, because strokes are not resolved or zones contradict.
    """

    call: str
    log10_lr: float | None = None
    capped: bool = False
    why: str = ""
    withheld: bool = False


@dataclass(frozen=True)
class BenchmarkRow:
    """One photograph: its label, its cluster, what was said of it.

    px_per_mm : truly resolved, None where no dial was found. found : whether a dial was. off : greatest distance
    between the outline found and the labelled one, in dial radii; None without both. printing : how it was printed, of
    dials called printed.
    """

    photo: LabelledPhoto
    cluster: int
    answer: JudgedCall
    zones: Mapping[Zone, JudgedCall] = field(default_factory=dict)
    px_per_mm: float | None = None
    found: bool = True
    off: float | None = None
    printing: JudgedCall | None = None

    @property
    def truth(self) -> bool | None:
        """True painted, False printed, None neither."""
        return truth_of(self.photo.dial_process)

    @property
    def band(self) -> str:
        """The band of resolution it falls in."""
        if self.px_per_mm is None:
            return NO_DIAL
        return next(name for name, low, high in BANDS if low <= self.px_per_mm < high)

    @property
    def right(self) -> bool | None:
        """Whether a call of a painted or printed dial is right; None where it is undetermined or has no such truth."""
        if self.truth is None or self.answer.call == UNDETERMINED:
            return None
        return (self.answer.call == HAND) == self.truth


def truth_of(label: str) -> bool | None:
    """True for painted, False for printed, None for every other label."""
    return {labels.PAINTED: True, labels.PRINTED: False}.get(label)


def clusters_of(photos: Sequence[LabelledPhoto], by: str) -> list[int]:
    """Cluster of each photograph.

    by : "source" links photographs of one dial and dials of one source, "dial" only those of one dial (of one source,
    where one is named), "photo" nothing. What has neither name stands alone.
    """
    if by not in CLUSTERINGS:
        raise ParameterError(f"cluster is {by!r}; give {', '.join(CLUSTERINGS)}")
    dials = [(photo.source, photo.dial) if photo.dial else None for photo in photos]
    sources = [photo.source for photo in photos] if by == "source" else [None] * len(photos)
    return [int(number) for number in linked([None] * len(photos) if by == "photo" else dials, sources)]


def judged_rows(
    photos: Sequence[LabelledPhoto],
    weights: Weights,
    *,
    by: str = "source",
    given_outlines: bool = False,
    max_pixels: int = MAX_PIXELS,
    watch: Callable[[Iterable[LabelledPhoto]], Iterable[LabelledPhoto]] = iter,
) -> tuple[list[BenchmarkRow], tuple[str, ...]]:
    """Rows of all photographs that could be read, and what was wrong with the others.

    given_outlines : judge within the labelled outline where there is one, in place of the one found.
    watch : wraps the photographs, such as a progress bar.
    """
    numbers = dict(zip((photo.row for photo in photos), clusters_of(photos, by), strict=True))
    rows, problems = [], []
    for photo in watch(photos):
        try:
            rows.append(_row(photo, numbers[photo.row], weights, given_outlines, max_pixels))
        except DialtellError as error:
            problems.append(f"row {photo.row}: {error}")
        except Exception as error:  # a fault of ours on one photograph must not lose the others
            log.debug("%s: traceback", photo.path, exc_info=True)
            problems.append(f"row {photo.row}: {photo.name}: {fault_of_ours(error)}")
    return rows, tuple(problems)


def _row(photo: LabelledPhoto, cluster: int, weights: Weights, given_outlines: bool, max_pixels: int) -> BenchmarkRow:
    scored = score_photo(photo.path, weights, known=photo.known(outlines=given_outlines, max_pixels=max_pixels))
    if scored.reading is None or scored.verdict is None or scored.resolution is None:
        return BenchmarkRow(photo, cluster, JudgedCall(UNDETERMINED, why=scored.record["reason"]), found=False)
    looked_for = photo.outline is not None and scored.known.outline is None
    off = outline_distance(scored.reading.geometry, photo.outline) if looked_for and photo.outline else None
    return _judged(photo, cluster, scored.verdict, scored.resolution, scored.record, off)


def _judged(
    photo: LabelledPhoto,
    cluster: int,
    verdict: Verdict,
    resolution: Resolution,
    record: Mapping[str, Any],
    off: float | None,
) -> BenchmarkRow:
    printing = verdict.print_process
    why = str(record.get("reason", "")) if verdict.call == UNDETERMINED else ""
    return BenchmarkRow(
        photo,
        cluster,
        JudgedCall(
            verdict.call, verdict.whole.log10_lr, verdict.whole.capped, why, verdict.whole.withheld or verdict.mixed
        ),
        {zone: _answer(evidence) for zone, evidence in verdict.zones.items()},
        resolution.true / (photo.size_mm or ASSUMED_MM),
        off=off,
        printing=None if printing is None else JudgedCall(printing.call, printing.log10_lr, printing.capped),
    )


def _answer(evidence: ProcessEvidence) -> JudgedCall:
    return JudgedCall(evidence.call, evidence.log10_lr, evidence.capped, withheld=evidence.withheld)


def outline_distance(found: DialGeometry, outline: Outline) -> float:
    """Greatest distance from the labelled outline, in its dial radii, of points of the outline found."""
    import numpy as np

    turn = np.linspace(0.0, 2 * math.pi, 90, endpoint=False)
    edge = found.to_photo(np.stack([np.cos(turn), np.sin(turn)], axis=-1))
    within = outlined(outline).to_dial(edge)
    return float(np.abs(np.hypot(within[:, 0], within[:, 1]) - 1.0).max())


def misses(rows: Iterable[BenchmarkRow]) -> Iterator[tuple[BenchmarkRow, str]]:
    """Rows whose call is wrong or was not to be made, and how so; the gravest first."""
    wrong = sorted((row for row in rows if _miss(row)), key=lambda row: -abs(row.answer.log10_lr or 0.0))
    order = list(_KINDS.values())
    for row in sorted(wrong, key=lambda row: order.index(_miss(row))):
        yield row, _miss(row)


_KINDS = {
    (labels.PAINTED, PRINTED): "painted, called printed",
    (labels.PRINTED, HAND): "printed, called hand-painted",
    (labels.MIXED, HAND): "mixed, called hand-painted as a whole",
    (labels.MIXED, PRINTED): "mixed, called printed as a whole",
    (labels.CANNOT_TELL, HAND): "called hand-painted where the labeller could not tell",
    (labels.CANNOT_TELL, PRINTED): "called printed where the labeller could not tell",
}


def _miss(row: BenchmarkRow) -> str:
    return _KINDS.get((row.photo.dial_process, row.answer.call), "")
