"""Maps of what every place of a dial shows, as the reader would say it."""

from __future__ import annotations

import numpy as np

from dialtell.synth.shared.terms import SEEN, Seen


def seen_under(hands: np.ndarray, what: Seen = Seen.HAND) -> np.ndarray:
    """(S, S) uint8: enamel, and where the mask is true something that lies over it."""
    return np.where(hands, SEEN.index(what), SEEN.index(Seen.ENAMEL)).astype(np.uint8)
