"""A scored photograph looked into: its strokes measured, what each place speaks for, hints of style.

The second step of an inspection: score_photo makes the call, this gathers what is shown beside it, one_photo writes it.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import torch

from dialtell.evaluate.inspection.bearing import Bearing, bearing
from dialtell.evaluate.maps.attribution import Attribution, attribute
from dialtell.evaluate.maps.place_map import Judge, against_zone, contributed, on_ink
from dialtell.evaluate.measurements.evidence import MeasuredEvidence, gather_evidence
from dialtell.evaluate.measurements.second_opinion import NO_OPINION, second_opinion
from dialtell.evaluate.period.style_hints import StyleHint, style_hints
from dialtell.evaluate.score.score import ScoredPhoto
from dialtell.model.net.weights_file import Weights

BEHIND = (12,)  # steps of the gradients behind the map of places


@dataclass(frozen=True, eq=False)
class Examination:
    """What is known of one photograph.

    evidence : what was measured, None where the dial does not carry strokes (see why_not_measured). bearing : how that
    bears on the call, None without a dial. attribution : None where nothing was judged. hints : of style and period,
    none in a close-up and without a dial.
    """

    scored: ScoredPhoto
    evidence: MeasuredEvidence | None = None
    bearing: Bearing | None = None
    attribution: Attribution | None = None
    hints: tuple[StyleHint, ...] = ()


def examine(scored: ScoredPhoto, weights: Weights) -> Examination:
    """What a scored photograph's strokes and its net have to say, worked out side by side."""
    threads = torch.get_num_threads()
    with ThreadPoolExecutor(1) as beside:  # the measurements keep one core busy, the gradients the others
        measuring = beside.submit(_measured, scored)
        torch.set_num_threads(max(threads - 1, 1))
        try:
            attribution = _attributed(scored, weights)
        finally:
            torch.set_num_threads(threads)
        evidence, bears = measuring.result()
    close = scored.reading is None or scored.reading.close_up is not None
    hints = () if scored.reading is None or close else style_hints(scored.reading)
    return Examination(scored, evidence, bears, attribution, hints)


def _measured(scored: ScoredPhoto) -> tuple[MeasuredEvidence | None, Bearing | None]:
    if scored.reading is None or scored.verdict is None:
        return None, None
    if scored.resolution is None or not scored.resolution.carries_strokes:
        return None, bearing(scored.verdict, NO_OPINION)
    evidence = gather_evidence(scored.reading, diameter_mm=scored.resolution.diameter_mm)
    return evidence, bearing(scored.verdict, second_opinion(evidence))


def _attributed(scored: ScoredPhoto, weights: Weights) -> Attribution | None:
    if scored.reading is None or scored.verdict is None or not scored.verdict.whole.judged:
        return None
    # not shown, only its sum and error: once, with few steps
    attribution = attribute(scored.reading.patches, weights, nodes=BEHIND)
    patches, told = scored.reading.patches, scored.verdict.explanation
    if told is not None:
        places, unlike = on_ink(contributed(told), patches), on_ink(against_zone(told), patches)
        return replace(attribution, places=places, unlike=unlike, adds_up=True)
    judge = Judge(scored.reading, weights)
    return replace(attribution, places=on_ink(judge.alone(), patches), unlike=on_ink(judge.unlike(), patches))


def why_not_measured(scored: ScoredPhoto) -> str:
    """Why there is no evidence, as a clause; "" where there is."""
    if scored.resolution is None:
        return "no dial was read"
    if scored.resolution.screened:
        return "this is a picture of a halftone print, whose dots would be measured in place of strokes"
    return "" if scored.resolution.enough else scored.resolution.shortfall
