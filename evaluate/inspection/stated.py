"""A record as a page shows it: its places in px of the photograph shown, without what a close-up cannot have."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from dialtell.model.net.weights_file import Weights

NO_OUTLINE = (
    "Outline, zones, style and the like dial beside the close views are left out: each needs to know where on the dial "
    "the close-up lies."
)


def drawable(record: Mapping[str, Any], scale: float = 1.0) -> dict[str, Any]:
    """The record with its places in px of a photograph `scale` times as large; what it says of the original stays.

    A close-up whose place is not known has a circle that carries the scale alone: no outline and no zone is drawn.
    """
    geometry = record["geometry"]
    if geometry is None:
        return dict(record)
    if not record.get("close_up", {}).get("located", True):
        zones = [{**zone, "polygon_px": []} for zone in record["zones"]]
        return {**record, "geometry": None, "zones": zones, "warnings": [*record["warnings"], NO_OUTLINE]}
    placed = {key: [value * scale for value in geometry[key]] for key in ("center_px", "axes_px")}
    zones = [
        {**zone, "polygon_px": [[x * scale, y * scale] for x, y in zone["polygon_px"]]} for zone in record["zones"]
    ]
    return {**record, "geometry": {**geometry, **placed}, "zones": zones}


def stated_model(weights: Weights) -> dict[str, Any]:
    """What a page and a still say of the weights."""
    return {**weights.identity, "renderer_version": weights.record["renderer_version"]}
