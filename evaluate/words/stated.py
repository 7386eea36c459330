"""What may be said of a dial's record: no number stands beside a call that is withheld."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

WITHHELD = "withheld, the photograph does not carry the evidence"
DISAGREE = "zones disagree, no support stated for the dial as a whole"


def withheld(record: Mapping[str, Any]) -> bool:
    """Whether the dial's call is held back, whatever the ratio: strokes are not resolved, or zones contradict.

    record : of schema dialtell.score/1; those kept before it said so itself are told by their support.
    """
    return bool(record.get("withheld", record["support"] in (WITHHELD, DISAGREE)))


def stated_ratio(record: Mapping[str, Any], zone: Mapping[str, Any] | None = None) -> float | None:
    """The log10 LR that a reader is shown of a dial, or of one of its zones; None where there is none to show.

    A number beside "withheld" would be read as one that holds. Where zones contradict each other each keeps its own.
    """
    part = record if zone is None else zone
    held = withheld(record) if zone is None else record["support"] == WITHHELD
    ratio: float | None = part["log10_lr"]
    return None if held or not part.get("judged", True) else ratio


def stated_chance(record: Mapping[str, Any], zone: Mapping[str, Any] | None = None) -> float | None:
    """Likewise the probability of hand painting at prior odds 1:1."""
    part = record if zone is None else zone
    chance: float | None = part["probability_hand"]
    return None if stated_ratio(record, zone) is None else chance
