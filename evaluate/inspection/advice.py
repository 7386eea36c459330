"""How to take a better photograph of a dial, and how far the present one is from resolving thin strokes."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from dialtell.model.net.resolution import Resolution

ADVICES = (
    "At least 1300 pixels across the dial, and better twice that; what is called enough above is only the least at "
    "which a call is made.",
    "Fill the frame with the dial. Come closer with a macro lens or setting instead of enlarging afterwards.",
    "Hold the camera square to the dial, so that it comes out round, and rest it on something steady.",
    "Focus on the figures and take several; keep the sharpest.",
    "Use soft, even daylight and no flash. Turn the watch until no window or lamp mirrors in it.",
    "If the watch is set by the crown, move the hour and minute hands off the signature and the seconds dial; leave "
    "lever-set and key-set watches as they are.",
    "Send the file as the camera wrote it: no screenshot, no filter, no copy shrunk by a message service.",
    "Leave the crystal closed.",
)


_USED = 0.8  # share of the stored px that are resolved, above which the two are not told apart in words


def reached_words(resolution: Resolution, close_up: Mapping[str, Any] | None = None) -> str:
    """Resolution reached against that needed, in px across the dial and, where its size is known, px per mm.

    close_up : of the record of a close-up, None of a whole dial.
    """
    mm = resolution.diameter_mm
    stored = _pixels(resolution.stored, mm)
    first = f"Here the dial is {stored}" if close_up is None else (
        f"At the scale of this close-up the whole dial would be {stored}"
    )  # fmt: skip
    if resolution.true <= 0:
        first += "; how much of that is real detail cannot be told. "
    else:
        if resolution.true < _USED * resolution.stored:
            first += f", but carries no more detail than at {_pixels(resolution.true, mm)}"
        first += ": enough. " if resolution.enough else ": too few. "
    if mm is None:
        first += f"{resolution.needed:.0f} pixels across the dial are needed; its size in millimetres is not known."
    else:
        first += (
            f"{resolution.needed / mm:.1f} pixels per millimetre are needed, which is this dial at "
            f"{resolution.needed:.0f} pixels across."
        )
    if close_up is not None and close_up["scale_spread"] > 0:
        first += f" The scale is known only to within {close_up['scale_spread']:.0%}."
    return first


def _pixels(across: float, mm: float | None) -> str:
    per_mm = "" if mm is None else f", or {across / mm:.1f} pixels per millimetre"
    return f"{across:.0f} pixels across{per_mm}"
