"""One photograph examined: scored, what moved its call, and hints of style; a page and a still are made from it."""

from __future__ import annotations

import os
from dataclasses import dataclass, replace

from dialtell.evaluate.attribution import Attribution, attribute
from dialtell.evaluate.flags import MAX_PIXELS
from dialtell.evaluate.place_map import place_map
from dialtell.evaluate.score import ScoredPhoto, score_photo
from dialtell.evaluate.style_hints import StyleHint, style_hints
from dialtell.model.store import Weights

BEHIND = (12,)  # steps of the gradients behind the map of places


@dataclass(frozen=True, eq=False)
class Examined:
    """scored : the photograph. attribution : None where nothing was judged. hints : of style and period, none in a
    close-up and without a dial."""

    scored: ScoredPhoto
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
    """Score one photograph and attribute its call; parameters and errors as of score_photo."""
    scored = score_photo(
        path, weights, diameter_mm=diameter_mm, max_pixels=max_pixels, close_up=close_up, pixels_per_mm=pixels_per_mm
    )
    if scored.reading is None or scored.verdict is None:
        return Examined(scored)
    attribution = None
    if scored.verdict.whole.judged:
        # not shown, only its sum and error: once, with few steps
        attribution = attribute(scored.reading.patches, weights, nodes=BEHIND)
        attribution = replace(attribution, places=place_map(scored.reading, weights))
    return Examined(
        scored,
        attribution,
        () if scored.reading.close_up is not None else style_hints(scored.reading),
    )
