"""What one look of the reader gives, as plain numbers, whichever runtime it was asked by."""

from __future__ import annotations

from typing import NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray

Logits = NDArray[np.float32]


class Glance(NamedTuple):
    """seen : (len(SEEN), SIDE, SIDE) logits. inside : (SIDE / 2, SIDE / 2) logits of lying within the outline, covered
    or not. where : (2, SIDE / 2, SIDE / 2) place in the outline made a circle, dial radii from its centre. make :
    (len(MAKES),) logits. turn : (TURNS,) logits of the direction of 12 o'clock, clockwise from up, of a square look;
    None if it was not asked for.
    """

    seen: Logits
    inside: Logits
    where: Logits
    make: Logits
    turn: Logits | None = None


class Looks(Protocol):
    """A reader's net that can be asked, by whichever runtime."""

    def __call__(self, picture: NDArray[np.uint8], turn: bool) -> Glance:
        """One look. picture : (SIDE, SIDE, 3) sRGB code values. turn : whether to say where 12 o'clock stands, for
        pictures of the second look."""
