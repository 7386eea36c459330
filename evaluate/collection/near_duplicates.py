"""Photographs that look the same: a 64-bit likeness from the lowest waves of a small grey copy, compared bit by bit.

The sign of each of the 8 x 8 lowest cosine coefficients but the mean against their median; the same picture scaled or
compressed again differs in few bits.
"""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

SIDE = 32  # px of the small copy
ALIKE = 8  # bits of 64 that may differ


def likeness(grey: NDArray[np.float32]) -> str:
    """(H, W) linear light -> 16 hexadecimal digits."""
    small = np.sqrt(np.clip(cv2.resize(grey, (SIDE, SIDE), interpolation=cv2.INTER_AREA), 0.0, None))
    low = cv2.dct(np.asarray(small, dtype=np.float32))[:8, :8].ravel()
    bits = low > np.median(low[1:])
    bits[0] = False
    return f"{int(''.join('1' if bit else '0' for bit in bits), 2):016x}"


def distance(first: str, second: str) -> int:
    """Bits in which two likenesses differ."""
    return (int(first, 16) ^ int(second, 16)).bit_count()


def alike(marks: Sequence[str], *, most: int = ALIKE) -> list[tuple[int, int, int]]:
    """(i, j, bits) of pairs i < j that differ in at most `most` bits; n log n is not needed at 10 000 entries."""
    codes = np.array([int(mark, 16) for mark in marks], dtype=np.uint64)
    found = []
    for index in range(len(codes) - 1):
        bits = np.bitwise_count(codes[index + 1 :] ^ codes[index])
        for later in np.flatnonzero(bits <= most):
            found.append((index, index + 1 + int(later), int(bits[later])))
    return found
