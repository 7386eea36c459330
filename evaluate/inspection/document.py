"""The inspection of one photograph as a JSON document of schema dialtell.inspect/1."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from dialtell.evaluate.inspection.examine import Examination, why_not_measured
from dialtell.evaluate.inspection.first_screen import with_date
from dialtell.evaluate.measurements.evidence import MeasuredEvidence
from dialtell.evaluate.period.date_check import PeriodCheck
from dialtell.model.net.weights_file import Weights

SCHEMA = "dialtell.inspect/1"


def inspection_document(
    examined: Examination, period: PeriodCheck | None, page: Path, weights: Weights
) -> dict[str, Any]:
    """dial : the record as every verb states it. measured_opinion : what the measurements lean to beside it.
    explanation : what the ratio of the dial, before its cap, is the sum of (see Explanation); null where nothing was
    judged."""
    scored, evidence = examined.scored, examined.evidence
    explanation = None if scored.verdict is None else scored.verdict.explanation
    return {
        "schema": SCHEMA,
        "model": weights.identity,
        "reader": weights.reader.identity,
        "page": str(page),
        "dial": scored.record,
        "measured_opinion": None if examined.bearing is None else examined.bearing.record(),
        "explanation": None if explanation is None else explanation.record(),
        "measurements": [] if evidence is None else measurement_records(evidence),
        "not_measured": why_not_measured(scored) or None,
        "period": None if period is None else _period(period, scored.record),
        "style_hints": [hint.record for hint in examined.hints],
    }


def measurement_records(evidence: MeasuredEvidence) -> list[dict[str, Any]]:
    """Every measurement for a JSON document; painted, printed: percent of such drawn dials that show less."""

    def figures(value: float | None) -> float | None:
        return None if value is None else float(f"{value:.4g}")

    return [
        {
            "zone": row.zone.value,
            "name": row.name,
            "value": figures(row.value),
            "unit": row.unit,
            "strokes": row.strokes,
            "strokes_needed": row.least,
            "painted_percent_below": figures(row.painted),
            "printed_percent_below": figures(row.printed),
            "lean_log10": figures(row.lean),
            "words": row.words,
        }
        for row in evidence.rows
    ]


def _period(check: PeriodCheck, record: Mapping[str, Any]) -> dict[str, Any]:
    after = check.posterior_log10_odds
    return {
        "years": [check.years.low, check.years.best, check.years.high],
        "basis": check.years.basis,
        "finding": check.finding,
        "sentence": check.sentence,
        "answer": with_date(record, check).answer,
        "prior_log10_odds": round(check.prior_log10_odds, 4),
        "posterior_log10_odds": None if after is None else round(after, 4),
    }
