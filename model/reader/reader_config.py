"""The size of a reader, as its file states it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class ReaderConfig:
    """widths : channels at 1/2, 1/4, 1/8, 1/16 and 1/32 of the picture. turn : channels of the turn's part."""

    widths: tuple[int, int, int, int, int] = (16, 32, 64, 96, 144)
    turn: int = 40
