"""The reader asked by ONNX Runtime: on a processor, without torch."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from dialtell.model.reader.glance import Glance
from dialtell.model.weights.graphs import Graphs


class LooksInOnnx:
    """See Looks."""

    def __init__(self, graphs: Graphs) -> None:
        self._graphs = graphs

    def __call__(self, picture: NDArray[np.uint8], turn: bool) -> Glance:
        """See Looks."""
        return Glance(*(part[0] for part in self._graphs.run("reader_turn" if turn else "reader", picture[None])))
