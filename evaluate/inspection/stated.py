"""What a page says of a photograph, from its document: where measurements took support away, what is left of it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from dialtell.evaluate.inspection.combined import Combined
from dialtell.evaluate.score.reasons import DISAGREE, WITHHELD
from dialtell.evaluate.words.support import support_words
from dialtell.model.net.weights_file import Weights


def as_shown(document: Mapping[str, Any]) -> dict[str, Any]:
    """The dial of a document of schema dialtell.inspect/1 with call, ratio and support as its page states them, and
    without what a close-up cannot have.

    No ratio is stated where it is withheld or zones contradict one another. A warning is added where call or ratio are
    not those of the net alone.
    """
    dial, both = page_record(document["dial"]), document.get("combined")
    if dial["support"] in (WITHHELD, DISAGREE):
        return dial | {"log10_lr": None, "probability_hand": None}
    if both is None or both["log10_lr"] is None or both["log10_lr"] == both["net_log10_lr"]:
        return dial
    changed = {
        "call": both["call"],
        "log10_lr": both["log10_lr"],
        "probability_hand": both["probability_hand"],
        "support": support_words(both["log10_lr"], False),
        "warnings": [both["sentence"], *dial["warnings"]],
    }
    if both["call"] != dial["call"]:
        changed["reason"] = f"The net alone: {dial['reason']}"
    return dial | changed


def scaled(record: dict[str, Any], scale: float) -> dict[str, Any]:
    """The record with its places in px of a reduced photograph; what it says of the original's resolution stays."""
    geometry = dict(record["geometry"])
    for key in ("center_px", "axes_px"):
        geometry[key] = [value * scale for value in geometry[key]]
    zones = [
        {**zone, "polygon_px": [[x * scale, y * scale] for x, y in zone["polygon_px"]]} for zone in record["zones"]
    ]
    return {**record, "geometry": geometry, "zones": zones}


def stated_model(weights: Weights) -> dict[str, Any]:
    """What a page and a still say of the weights."""
    return {**weights.identity, "renderer_version": weights.record["renderer_version"]}


NOT_TOLD_APART = "Not told apart: the close-up does not show where on the dial it lies."

NO_OUTLINE = (
    "Outline, zones, style and the like dial beside the close views are left out: each needs to know where on the dial "
    "the close-up lies."
)


def page_record(record: Mapping[str, Any]) -> dict[str, Any]:
    """The record as a page shows it: without what a close-up whose place is not known cannot have.

    Its circle carries the scale alone, so there is no outline and no zone to draw; zones are said to be not told apart.
    """
    if record.get("close_up", {}).get("located", True):
        return dict(record)
    zones = [
        {**zone, "polygon_px": [], "reason": zone["reason"] if zone["judged"] else NOT_TOLD_APART}
        for zone in record["zones"]
    ]
    return {**record, "geometry": None, "zones": zones, "warnings": [*record["warnings"], NO_OUTLINE]}


def combined_support(combined: Combined, net_support: str) -> str:
    """The combined ratio in words; net_support stays where the measurements changed nothing or no ratio is stated."""
    if combined.log10_lr is None or combined.held or combined.log10_lr == combined.net:
        return net_support
    return support_words(combined.log10_lr, combined.capped)
