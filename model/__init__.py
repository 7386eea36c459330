"""Reading a photograph and calling it: dial finding, optical density, zones, patches, the net and its weights.

from dialtell.model import load_weights, read_photo
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from dialtell.synth.shared.lazy import lazy

if TYPE_CHECKING:
    from dialtell.model.net.weights_file import load_weights
    from dialtell.model.reading.photo import read_photo

__all__ = ["load_weights", "read_photo"]

__getattr__ = lazy(
    __name__,
    {"load_weights": "dialtell.model.net.weights_file", "read_photo": "dialtell.model.reading.photo"},
)


def __dir__() -> list[str]:
    return sorted(__all__)
