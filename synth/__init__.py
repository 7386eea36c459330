"""The renderer: dials drawn with hand strokes or print, of known truth. Imports nothing of the other parts.

from dialtell.synth import sample_spec, render
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from dialtell.synth.shared.lazy import lazy

if TYPE_CHECKING:
    from dialtell.synth.scene import render, sample_spec

__all__ = ["render", "sample_spec"]

__getattr__ = lazy(__name__, {"render": "dialtell.synth.scene", "sample_spec": "dialtell.synth.scene"})


def __dir__() -> list[str]:
    return sorted(__all__)
