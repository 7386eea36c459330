"""Scoring photographs, inspecting a call, comparing dials, and measuring how good the calls are.

The front door, for notebooks and for the commands alike:

    from dialtell.evaluate import Known, score_photo, score_photos, inspect_photo, compare_photos

Each is loaded when it is first asked for, so that `--help` needs no torch.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from dialtell.synth.shared.lazy import lazy

if TYPE_CHECKING:
    from dialtell.evaluate.compare.compare import compare_photos
    from dialtell.evaluate.inspection.one_photo import inspect_photo
    from dialtell.evaluate.score.score import score_photo, score_photos
    from dialtell.model.reading.known import Known

__all__ = ["Known", "compare_photos", "inspect_photo", "score_photo", "score_photos"]

__getattr__ = lazy(
    __name__,
    {
        "Known": "dialtell.model.reading.known",
        "compare_photos": "dialtell.evaluate.compare.compare",
        "inspect_photo": "dialtell.evaluate.inspection.one_photo",
        "score_photo": "dialtell.evaluate.score.score",
        "score_photos": "dialtell.evaluate.score.score",
    },
)


def __dir__() -> list[str]:
    return sorted(__all__)
