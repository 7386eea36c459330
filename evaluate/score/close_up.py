"""Judging a close-up that does not show where on the dial it lies, and saying what that rests on."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dialtell.evaluate.score.reasons import SIDE, dial_reason, name
from dialtell.model.net.calibration import UNDETERMINED
from dialtell.model.net.resolution import Resolution
from dialtell.model.net.verdict import Verdict
from dialtell.model.reading.close_up import CloseUp
from dialtell.synth.shared.terms import Zone


def least(verdicts: Sequence[Verdict]) -> tuple[int, bool]:
    """Which of the verdicts on one close-up at several scales counts, and whether they contradict each other.

    The one nearest to no evidence; one without evidence before all. Contradicting ones make no call.
    """
    ratios = [verdict.whole.log10_lr for verdict in verdicts]
    for index, ratio in enumerate(ratios):
        if ratio is None:
            return index, False
    known = [ratio for ratio in ratios if ratio is not None]
    return min(range(len(known)), key=lambda index: abs(known[index])), min(known) < 0 < max(known)


def unnamed_reason(
    verdict: Verdict, resolution: Resolution, close_up: CloseUp, zone: Zone | None, *, contradicts: bool
) -> str:
    """Why a close-up of unknown place was called so, in one sentence. zone : that it is said to show."""
    if contradicts and resolution.carries_strokes:
        return (
            f"No call is made: the scale of this close-up, {close_up.scale.source}, is known only to within "
            f"{close_up.scale.spread:.0%}, and the evidence changes sides within that; give --px-per-mm and the size."
        )
    if verdict.call == UNDETERMINED:
        return dial_reason(verdict, resolution, part=True)
    of = (
        "which part of the dial they are of is not known"
        if zone is None
        else f"they are taken to be of the {name(zone)}, as was said"
    )
    return f"The strokes of this close-up speak for {SIDE[verdict.call]} taken together; {of}."


def close_up_record(close_up: CloseUp) -> dict[str, Any]:
    """What the JSON says of a close-up.

    located : whether its place on the dial is known; if not, the geometry is a circle about the frame's middle that
    carries the scale alone. scale_spread : SD of ln scale.
    """
    scale = close_up.scale.pixels_per_radius
    return {
        "located": close_up.place is not None,
        "pixels_per_radius": None if scale is None else round(scale, 2),
        "scale_spread": round(close_up.scale.spread, 4),
        "scale_source": close_up.scale.source,
    }


def close_up_remarks(close_up: CloseUp, zone: Zone | None = None) -> list[str]:
    """Warnings that go with every close-up. zone : that it is said to show."""
    if close_up.place is not None:
        return [
            "Only a part of the dial is in the frame; where the rest lies follows from an arc of the enamel's edge and "
            "from what is seen where."
        ]
    as_one = "as one zone" if zone is None else f"as the {name(zone)}, which it is said to show"
    found = [
        f"This close-up does not show where on the dial it lies, so its strokes are judged {as_one}; watch hands in "
        "it are read as strokes."
    ]
    if close_up.scale.spread > 0:
        found.append(
            f"Its scale, {close_up.scale.source}, is known only to within {close_up.scale.spread:.0%}; the least of "
            "the evidence at three scales is stated."
        )
    return found
