"""The size of a net, as its file states it."""

from __future__ import annotations

from dataclasses import asdict, dataclass


@dataclass(frozen=True)
class NetConfig:
    """Size of the net.

    widths : channels at a half, a quarter and an eighth of the patch's side, and of the last layer. code : length of
    a patch's code. spread : use what tells repetition: the spread over a zone, and pairs. texture : use what one patch
    shows by itself. With both two voices speak, one of them of repetition alone (see voice). beside : units that judge
    a patch beside its zone and its dial. pairs : like strokes that each patch is compared with, 0 for none.
    """

    widths: tuple[int, int, int, int] = (16, 32, 64, 112)
    code: int = 96
    spread: bool = True
    texture: bool = True
    beside: int = 80
    pairs: int = 4

    def record(self) -> dict[str, object]:
        """Its fields as plain values."""
        return asdict(self)
