"""What a page says of a photograph, from its document: where measurements took support away, what is left of it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from dialtell.evaluate.score.close_up import page_record
from dialtell.evaluate.score.reasons import DISAGREE, WITHHELD
from dialtell.evaluate.words.support import support_words


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
