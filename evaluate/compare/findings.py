"""What can be found of two dials laid on each other, and how much that says, in words."""

from __future__ import annotations

from dialtell.evaluate.words.support import NO_SUPPORT, NOT_JUDGED, support_band

ONE_PLATE = "same design, one plate fits both"
SEPARATE = "same design, drawn separately"
DIFFERENT = "different designs"
CANNOT_TELL = "cannot tell"


def pair_support(finding: str, log10_lr: float | None, *, capped: bool = False) -> str:
    """The ratio in words, for one plate or for separate drawing."""
    if finding == DIFFERENT or log10_lr is None:
        return NOT_JUDGED
    band = support_band(log10_lr)
    if band == NO_SUPPORT:
        return NO_SUPPORT
    side = "one plate" if log10_lr > 0 else "separate drawing"
    return f"{'at least ' if capped else ''}{band} support for {side}"
