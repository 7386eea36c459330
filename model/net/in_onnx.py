"""The net asked by ONNX Runtime: on a processor, without torch."""

from __future__ import annotations

from collections.abc import Callable
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from dialtell.model.net.alike import compared, looked
from dialtell.model.net.net_config import NetConfig
from dialtell.model.net.said import Map, Parts, Said
from dialtell.model.reading.patches import PatchSet
from dialtell.model.weights.graphs import Graphs

if TYPE_CHECKING:
    from dialtell.model.net.net import StrokeNet

_AT_ONCE = 32  # patches whose layers stay in the cache


class InOnnx:
    """A net, and the asking of it. config : its size. in_torch : makes the net that training goes on with."""

    def __init__(self, graphs: Graphs, config: NetConfig, in_torch: Callable[[], StrokeNet]) -> None:
        self._graphs, self._config, self._in_torch = graphs, config, in_torch

    @cached_property
    def net(self) -> StrokeNet:
        """See Asked."""
        return self._in_torch()

    def said(self, patches: PatchSet) -> Said:
        """See Asked."""
        seen = patches.joined
        density, level = np.asarray(seen.density, np.float32), seen.scales.astype(np.float32)
        own = seen.resolutions.astype(np.float32) - level
        found = compared(looked(density), seen.zone, own, self._config.pairs, whole=level == np.round(level))
        pairs = (found.beside, found.alike, found.residual, np.float32(found.floor))
        given = (self._by_patch("encoder", density), seen.zone, level, own, *pairs)
        told = (each[0] for each in self._graphs.run("judge", *(np.asarray(each)[None] for each in given)))
        dial, zone, photographic, base, place_dial, place_zone, pair_dial, pair_zone, zone_base, look, comparison = told
        return Said(
            dial=float(dial),
            zone=zone,
            photographic=float(photographic),
            parts=Parts(place_dial, place_zone, pair_dial, pair_zone, found.beside, float(base), zone_base),
            ways=(float(look), float(comparison)),
        )

    def plain_numbers(self, density: NDArray[Any]) -> Map:
        """See Asked."""
        return self._by_patch("traits", np.asarray(density, np.float32))

    def _by_patch(self, graph: str, density: Map) -> Map:
        parts = (density[at : at + _AT_ONCE] for at in range(0, len(density), _AT_ONCE))
        return np.concatenate([self._graphs.run(graph, np.ascontiguousarray(part))[0] for part in parts])
