"""A scored photograph looked into: its strokes measured, what each place adds to the call, hints of style.

The second step of an inspection: score_photo makes the call, this gathers what is shown beside it, one_photo writes it.
"""

from __future__ import annotations

from dataclasses import dataclass

from dialtell.evaluate.inspection.bearing import Bearing, bearing
from dialtell.evaluate.maps.place_map import DialMaps, maps_of
from dialtell.evaluate.measurements.evidence import MeasuredEvidence, gather_evidence
from dialtell.evaluate.measurements.second_opinion import NO_OPINION, second_opinion
from dialtell.evaluate.period.style_hints import StyleHint, style_hints
from dialtell.evaluate.score.score import ScoredPhoto


@dataclass(frozen=True, eq=False)
class Examination:
    """What is known of one photograph.

    evidence : what was measured, None where the dial does not carry strokes (see why_not_measured). bearing : how that
    bears on the call, None without a dial. maps : None where nothing was judged. hints : of style and period, none in a
    close-up and without a dial.
    """

    scored: ScoredPhoto
    evidence: MeasuredEvidence | None = None
    bearing: Bearing | None = None
    maps: DialMaps | None = None
    hints: tuple[StyleHint, ...] = ()


def examine(scored: ScoredPhoto) -> Examination:
    """What a scored photograph's strokes and its net have to say."""
    evidence, bears = _measured(scored)
    close = scored.reading is None or scored.reading.close_up is not None
    hints = () if scored.reading is None or close else style_hints(scored.reading)
    return Examination(scored, evidence, bears, _mapped(scored), hints)


def _measured(scored: ScoredPhoto) -> tuple[MeasuredEvidence | None, Bearing | None]:
    if scored.reading is None or scored.verdict is None:
        return None, None
    if scored.resolution is None or not scored.resolution.carries_strokes:
        return None, bearing(scored.verdict, NO_OPINION)
    evidence = gather_evidence(scored.reading, diameter_mm=scored.resolution.diameter_mm)
    return evidence, bearing(scored.verdict, second_opinion(evidence))


def _mapped(scored: ScoredPhoto) -> DialMaps | None:
    explanation = None if scored.verdict is None else scored.verdict.explanation
    if scored.reading is None or explanation is None:
        return None
    return maps_of(explanation, scored.reading.patches)


def why_not_measured(scored: ScoredPhoto) -> str:
    """Why there is no evidence, as a clause; "" where there is."""
    if scored.resolution is None:
        return "no dial was read"
    if scored.resolution.screened:
        return "this is a picture of a halftone print, whose dots would be measured in place of strokes"
    return "" if scored.resolution.enough else scored.resolution.shortfall
