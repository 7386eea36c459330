"""What is said first of a dial: the call in one sentence, and how strong it is, in words and as "one in N".

Page, still and report begin with these sentences, so that they say the same.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from dialtell.evaluate.words.stated import DISAGREE, stated_ratio
from dialtell.evaluate.words.support import NO_SUPPORT, ratio_words, support_band

HEADLINES = {
    "hand-painted": "This dial looks painted by hand.",
    "printed": "This dial looks printed.",
    "undetermined": "Painted or printed? This photograph does not settle it.",
}
MIXED = "Parts of this dial look painted by hand, others printed."
NO_DIAL = "No dial could be judged in this photograph."
SEVERAL = "Painted or printed? These photographs do not settle it."
KINDS = ("painted by hand", "printed")  # towards which a ratio above and below 0 speaks


def headline(record: Mapping[str, Any]) -> str:
    """The call in one sentence. record : of schema dialtell.score/1."""
    if record["support"] == DISAGREE:
        return MIXED
    if record["geometry"] is None and record["log10_lr"] is None:
        return NO_DIAL
    return SEVERAL if several(record) and record["call"] == "undetermined" else HEADLINES[record["call"]]


def several(record: Mapping[str, Any]) -> bool:
    """Whether more than one photograph speaks of the dial."""
    return bool(sum(row["squares"] > 0 for row in record.get("photographs", ())) > 1)


def strength(record: Mapping[str, Any]) -> tuple[str, str]:
    """How strong, in words, and the sentence with "one in N"; both "" where no ratio is stated."""
    ratio = stated_ratio(record)
    if ratio is None:
        return "", ""
    band, capped = support_band(ratio), str(record["support"]).startswith("at least")
    if band == NO_SUPPORT:
        return "It speaks for neither side", "Dials that look like this are about as often painted as printed."
    kind, other = KINDS if ratio > 0 else KINDS[::-1]
    words = f"{'at least ' if capped else ''}{band} support"
    words = f"Leaning to {kind}: {words}" if record["call"] == "undetermined" else words[:1].upper() + words[1:]
    share = f"{'at most' if capped else 'about'} one in {one_in(ratio)}"
    return words, f"Of dials that look like this, {share} would be {other}, if both kinds were equally common."


def one_in(log10_lr: float) -> str:
    """N of "one in N dials that look like this would be of the other kind", both kinds equally common beforehand."""
    return _whole(math.log10(1.0 + 10.0 ** min(abs(log10_lr), 300.0)))


def _whole(log10_count: float) -> str:
    """A count in two figures without decimals: 3, 20, 1 300."""
    return f"{10.0**log10_count:.0f}" if log10_count < 1.0 else ratio_words(log10_count)


def times_words(log10: float) -> str:
    """What multiplies the odds, whichever way: "4.0 times"."""
    return f"{ratio_words(log10)} times"


def odds_words(log10: float) -> str:
    """Odds with their side: "5.5 to 1 for hand painting"; "even" where they are."""
    if abs(log10) < 0.02:
        return "even"
    return f"{ratio_words(log10)} to 1 for {'hand painting' if log10 > 0 else 'printing'}"
