"""Maps of what every place of a dial shows, as the reader would say it."""

from __future__ import annotations

import numpy as np

from dialtell.model.reader.net import SIDE, SQUARE
from dialtell.model.reading.looks import Look
from dialtell.synth.shared.terms import INK_SEEN, SEEN, Seen, Zone

SECONDS = (0.0, 0.5, 0.22)


def seen_under(hands: np.ndarray, what: Seen = Seen.HAND) -> np.ndarray:
    """(S, S) uint8: enamel, and where the mask is true something that lies over it."""
    return np.where(hands, SEEN.index(what), SEEN.index(Seen.ENAMEL)).astype(np.uint8)


def names_of(seen: np.ndarray) -> np.ndarray:
    """(len(SEEN), H, W) logits of a reader that is sure of what is seen, (H, W) index into SEEN."""
    return np.where(np.arange(len(SEEN))[:, None, None] == seen, np.float32(6.0), np.float32(-6.0))


def look_of(seen: np.ndarray) -> Look:
    """A square look that shows this, (SIDE, SIDE)."""
    none = np.zeros((2, SIDE // 2, SIDE // 2), np.float32)
    return Look(np.eye(2, 3), names_of(seen), none[0], none, {}, None)


def drawn_seen(rotation: float = 0.0) -> np.ndarray:
    """(SIDE, SIDE) what a square look at a dial of known sizes shows: track .88...94, figures .6...8, seconds bit."""
    axis = (np.arange(SIDE) + 0.5 - SIDE / 2) / SQUARE
    x0, y0 = np.meshgrid(axis, axis)
    c, s = np.cos(rotation), np.sin(rotation)
    x, y = c * x0 + s * y0, -s * x0 + c * y0  # in the dial frame
    r, turn = np.hypot(x, y), np.arctan2(x, -y)
    seen = np.where(r < 1, SEEN.index(Seen.ENAMEL), 0).astype(np.uint8)

    def mark(zone, where):
        seen[where] = SEEN.index(INK_SEEN[zone])

    mark(Zone.MINUTE_TRACK, (r > 0.88) & (r < 0.94) & (turn * 30 / np.pi % 1 < 0.4))
    mark(Zone.NUMERALS, (r > 0.6) & (r < 0.8) & ((turn * 6 / np.pi + 0.5) % 1 < 0.4))
    mark(Zone.SIGNATURE, (np.abs(y + 0.35) < 0.03) & (np.abs(x) < 0.2) & (x * 40 % 1 < 0.5))
    sx, sy, sr = SECONDS
    away, about = np.hypot(x - sx, y - sy), np.arctan2(x - sx, sy - y)
    mark(Zone.SECONDS_BIT, (away < sr) & (away > 0.8 * sr) & (about * 30 / np.pi % 1 < 0.5))
    seen[(np.abs(x - y) < 0.025) & (x > 0) & (r < 0.97)] = SEEN.index(Seen.HAND)
    return seen
