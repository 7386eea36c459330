"""How to take a better photograph of a dial, and how far the present one is from resolving thin strokes."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

ADVICES = (
    "Fill the frame with the dial. Come closer with a macro lens or setting instead of enlarging afterwards.",
    "Hold the camera square to the dial, so that it comes out round, and rest it on something steady.",
    "Focus on the figures and take several; keep the sharpest.",
    "Use soft daylight from one side and no flash. Turn the watch until no window or lamp mirrors in it.",
    "Move the hands off the signature and the seconds bit if the watch is set from outside.",
    "Send the file as the camera wrote it: no screenshot, no filter, no copy shrunk by a message service.",
    "Leave the crystal closed.",
)


def resolution_words(geometry: Mapping[str, Any] | None, needed: float | None) -> str:
    """Resolution reached and, when known, needed, in px per mm and px across the dial.

    geometry : of schema dialtell.score/1, or None when no dial was found.
    needed : px per mm at which thin strokes can be read, or None.
    """
    if geometry is None:
        return "No dial was found in this photograph."
    across, per_mm = geometry["pixels_across"], geometry["pixels_per_mm"]
    if per_mm is None:
        return f"Here the dial is {across:.0f} pixels across; its size in millimetres is not known."
    reached = f"Here the dial is {across:.0f} pixels across, or {per_mm:.1f} pixels per millimetre"
    if not needed:
        return f"{reached}."
    verdict = "enough" if per_mm >= needed else "too few"
    target = across * needed / per_mm
    return (
        f"{reached}: {verdict}. {needed:.1f} pixels per millimetre are needed, which is this dial at "
        f"{target:.0f} pixels across."
    )
