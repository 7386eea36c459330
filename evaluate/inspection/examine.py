"""One photograph examined: scored, measured, what moved its call, and hints of style; a page and a still show it."""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import torch

from dialtell.evaluate.inspection.combined import Combined, combine
from dialtell.evaluate.maps.attribution import Attribution, attribute
from dialtell.evaluate.maps.place_map import Judge, on_ink
from dialtell.evaluate.measurements.evidence import Evidence, gather_evidence
from dialtell.evaluate.measurements.second_opinion import NO_OPINION, second_opinion
from dialtell.evaluate.period.style_hints import StyleHint, style_hints
from dialtell.evaluate.score.score import ScoredPhoto, score_photo
from dialtell.model.net.weights_file import Weights
from dialtell.model.reading.known import MAX_PIXELS

BEHIND = (12,)  # steps of the gradients behind the map of places


@dataclass(frozen=True, eq=False)
class Examined:
    """What is known of one photograph.

    evidence : what was measured, None where the dial does not carry strokes (see why_not_measured). combined : the
    net's ratio with that of the measurements, None without a dial. attribution : None where nothing was judged.
    hints : of style and period, none in a close-up and without a dial.
    """

    scored: ScoredPhoto
    evidence: Evidence | None = None
    combined: Combined | None = None
    attribution: Attribution | None = None
    hints: tuple[StyleHint, ...] = ()


def examine(
    path: str | os.PathLike[str],
    weights: Weights,
    *,
    diameter_mm: float | None = None,
    max_pixels: int = MAX_PIXELS,
    close_up: bool = False,
    pixels_per_mm: float | None = None,
) -> Examined:
    """Score one photograph, measure it and attribute its call; parameters and errors as of score_photo."""
    scored = score_photo(
        path, weights, diameter_mm=diameter_mm, max_pixels=max_pixels, close_up=close_up, pixels_per_mm=pixels_per_mm
    )
    return look_into(scored, weights)


def look_into(scored: ScoredPhoto, weights: Weights) -> Examined:
    """What a scored photograph's strokes and its net have to say, worked out side by side."""
    threads = torch.get_num_threads()
    with ThreadPoolExecutor(1) as beside:  # the measurements keep one core busy, the gradients the others
        measuring = beside.submit(_measured, scored)
        torch.set_num_threads(max(threads - 1, 1))
        try:
            attribution = _attributed(scored, weights)
        finally:
            torch.set_num_threads(threads)
        evidence, combined = measuring.result()
    close = scored.reading is None or scored.reading.close_up is not None
    hints = () if scored.reading is None or close else style_hints(scored.reading)
    return Examined(scored, evidence, combined, attribution, hints)


def _measured(scored: ScoredPhoto) -> tuple[Evidence | None, Combined | None]:
    if scored.reading is None or scored.verdict is None:
        return None, None
    if scored.resolution is None or not scored.resolution.carries_strokes:
        return None, combine(scored.verdict, NO_OPINION)
    evidence = gather_evidence(scored.reading, diameter_mm=scored.resolution.diameter_mm)
    return evidence, combine(scored.verdict, second_opinion(evidence))


def _attributed(scored: ScoredPhoto, weights: Weights) -> Attribution | None:
    if scored.reading is None or scored.verdict is None or not scored.verdict.whole.judged:
        return None
    # not shown, only its sum and error: once, with few steps
    attribution = attribute(scored.reading.patches, weights, nodes=BEHIND)
    judge, patches = Judge(scored.reading, weights), scored.reading.patches
    return replace(attribution, places=on_ink(judge.alone(), patches), unlike=on_ink(judge.unlike(), patches))


def why_not_measured(scored: ScoredPhoto) -> str:
    """Why there is no evidence, as a clause; "" where there is."""
    if scored.resolution is None:
        return "no dial was read"
    if scored.resolution.screened:
        return "this is a picture of a halftone print, whose dots would be measured in place of strokes"
    return "" if scored.resolution.enough else scored.resolution.shortfall
