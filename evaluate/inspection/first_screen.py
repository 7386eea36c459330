"""What a page and a report say first: the answer, what spoke loudest, how the parts weigh, and the date beside it.

Shares are of the net's sum. As odds multiply where their logarithms add, each is told as what it does to the odds.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from dialtell.evaluate.inspection.advice import Advice, advice_of
from dialtell.evaluate.period.date_check import FITS, LATER, UNUSUAL, PeriodCheck, printed_share_of
from dialtell.evaluate.words.first_words import headline, odds_words, one_in, several, strength, times_words
from dialtell.evaluate.words.plain import capital, plain_name, print_words, zone_heading
from dialtell.evaluate.words.shares import Shares
from dialtell.evaluate.words.stated import DISAGREE, stated_ratio, withheld
from dialtell.evaluate.words.support import LEAST_SUPPORT
from dialtell.model.net.calibration import CANNOT_TELL, HAND, PRINTED, UNDETERMINED, threshold

if TYPE_CHECKING:
    from dialtell.evaluate.inspection.page import PageExtras, ZoneCrop

STYLES = {HAND: "hand", PRINTED: "print", UNDETERMINED: "open"}
NO_WEIGHT = 0.04  # log10: a tenth more, below which a part is said to weigh nothing
_KIND = {"hand": "hand painting", "print": "printing"}
_APART = {
    HAND: "They do not go together: a replacement, a special order or a small maker’s dial is possible.",
    PRINTED: "They do not go together: if the strokes are right, the dial is not the movement’s first.",
}
_LOOKS = {"hand": "painted by hand", "print": "printed"}


@dataclass(frozen=True, eq=False)
class Loudest:
    """A place that spoke loudest. crop : its picture. heading : its zone and side. says : how much, in words.
    style : "hand" or "print"."""

    crop: ZoneCrop
    heading: str
    says: str
    style: str


@dataclass(frozen=True)
class Weight:
    """A row of how the parts weigh. says : in words. added : log10. left, width : of its bar, percent."""

    name: str
    says: str
    style: str
    added: float
    left: float
    width: float


@dataclass(frozen=True)
class WithDate:
    """The strokes and the date. answer : one sentence of both. rows : (who, what it says)."""

    answer: str
    rows: tuple[tuple[str, str], ...]


@dataclass(frozen=True, eq=False)
class FirstScreen:
    """All that is said first, in plain text. side : "hand", "print" or "open". dated : rows of WithDate. against : that
    the measurements lean the other way, "" where they do not. printing : how a print was made, where that can be told.
    """

    headline: str
    side: str
    strong: str
    one_in: str
    dated: tuple[tuple[str, str], ...]
    reason: str
    printing: str
    against: str
    loud: tuple[Loudest, ...]
    weights: tuple[Weight, ...]
    product: str
    advice: Advice


def first_screen(dial: Mapping[str, Any], crops: Sequence[ZoneCrop], extras: PageExtras) -> FirstScreen:
    """Of a record of schema dialtell.score/1, with the close views of its zones."""
    ratio, support = stated_ratio(dial), str(dial["support"])
    shares = None if ratio is None else extras.shares
    strong, share = strength(dial)
    dated = None if extras.period is None else with_date(dial, extras.period)
    product = ""
    if shares is not None and ratio is not None:
        product = product_sentence(shares, capped=support.startswith("at least"), stated=ratio)
    return FirstScreen(
        headline=headline(dial) if dated is None else dated.answer,
        side="open" if ratio is None else STYLES[dial["call"]],
        strong=strong,
        one_in=share,
        dated=() if dated is None else tuple((who, plain_name(says)) for who, says in dated.rows),
        reason=plain_name(dial["reason"]),
        printing=_printing(dial.get("print_process")) if dial["call"] == PRINTED and not withheld(dial) else "",
        against=against(extras),
        loud=loudest(dial, shares, crops),
        weights=() if shares is None else weights(shares),
        product=product,
        advice=extras.advice or advice_of(dial, None),
    )


def against(extras: PageExtras) -> str:
    """That the measurements lean the other way, "" where they do not, or where none that is shown does."""
    bears = extras.bearing
    if bears is None or not bears.against or bears.measured is None or extras.evidence is None:
        return ""
    side = _side(bears.measured)
    shown = any(row.lean == side for table in extras.evidence.zones for row in table.leaning)
    return bears.sentence if shown else ""


def _printing(record: Mapping[str, Any] | None) -> str:
    """How a print was made, with its reason, where that can be told; said of a dial that is called printed alone."""
    words = "" if record is None or record["call"] == CANNOT_TELL else print_words(record)
    return capital(words)


def loudest(dial: Mapping[str, Any], shares: Shares | None, crops: Sequence[ZoneCrop]) -> tuple[Loudest, ...]:
    """What spoke loudest for the call; where parts contradict each other, one of each side; none without a number."""
    shown = {crop.zone: crop for crop in crops}
    if dial["support"] == DISAGREE:
        return tuple(filter(None, (_of_side(dial, shown, call) for call in (HAND, PRINTED))))
    if shares is None:
        return ()
    sign = {HAND: 1.0, PRINTED: -1.0}.get(dial["call"])
    own = {
        zone: added
        for zone, added in shares.zones.items()
        if zone in shown and (abs(added) >= LEAST_SUPPORT if sign is None else added * sign >= NO_WEIGHT)
    }
    if not own:
        return ()
    zone = max(own, key=lambda name: abs(own[name]))
    return (_loud(shown[zone], own[zone]),)


def _loud(crop: ZoneCrop, added: float) -> Loudest:
    style = _side(added)
    says = f"Its strokes make {_KIND[style]} {times_words(added)} likelier"
    if crop.share is not None and crop.share * added > 0 and NO_WEIGHT <= abs(crop.share) < abs(added):
        return Loudest(
            crop, zone_heading(crop.zone), f"{says}, those in this picture {times_words(crop.share)}.", style
        )
    return Loudest(crop, zone_heading(crop.zone), f"{says}.", style)


def _of_side(dial: Mapping[str, Any], shown: Mapping[str, ZoneCrop], call: str) -> Loudest | None:
    """The part that speaks loudest for a call by itself."""
    own = [zone for zone in dial["zones"] if zone["judged"] and zone["call"] == call and zone["zone"] in shown]
    if not own:
        return None
    zone = max(own, key=lambda one: abs(one["log10_lr"]))
    style = STYLES[call]
    return Loudest(
        shown[zone["zone"]], zone_heading(zone["zone"]), f"By itself it looks {_LOOKS[style]}: "
        f"{odds_words(zone['log10_lr'])}.", style,
    )  # fmt: skip


def weights(shares: Shares) -> tuple[Weight, ...]:
    """How the parts weigh, in the order given, and where every dial starts; all of them multiplied are the odds."""
    named = [(zone_heading(zone), added) for zone, added in shares.zones.items()]
    rows = [*named, ("Where every dial starts", shares.base)]
    most = max(1.0, *(abs(added) for _, added in rows))
    return tuple(
        Weight(
            name,
            f"{times_words(added)} for {_KIND[_side(added)]}" if abs(added) >= NO_WEIGHT else "no weight",
            _side(added) if abs(added) >= NO_WEIGHT else "open",
            added,
            round(50 + min(0.0, 50 * added / most), 2),
            round(50 * abs(added) / most, 2),
        )
        for name, added in rows
    )


def product_sentence(shares: Shares, *, capped: bool, stated: float) -> str:
    """What the parts make together, that the call says no more than is vouched for, and what of it is seen how."""
    start = (
        ""
        if abs(shares.base) < NO_WEIGHT
        else (
            f" and with where every dial photographed as finely starts, {times_words(shares.base)} for "
            f"{_KIND[_side(shares.base)]},"
        )
    )
    first = f"Multiplied with one another{start} they make {odds_words(shares.total)}"
    if abs(stated) < LEAST_SUPPORT and not capped:
        said = f"{first}: too little to speak for either side."
    elif not capped:
        said = f"{first}."
    else:
        said = f"{first}; the call says no more than {odds_words(stated)}, for nothing beyond that has been tested."
    if shares.ways is None:
        return said
    look, comparison = (words if (words := odds_words(way)) != "even" else "even odds" for way in shares.ways)
    return f"{said} Looked at one by one the strokes make {look}, compared with their like {comparison}."


def with_date(dial: Mapping[str, Any], period: PeriodCheck) -> WithDate:
    """What the strokes say, what the date says, and the one answer of both."""
    ratio, call = stated_ratio(dial), str(dial["call"])
    rows = (
        ("The strokes", _strokes_say(ratio)),
        ("The date", _date_says(period)),
        ("Both", _both_say(period, call, ratio)),
    )
    return WithDate(_answer(dial, period, ratio), rows)


def _strokes_say(ratio: float | None) -> str:
    if ratio is None:
        return "Nothing that could be held against a date."
    return "Neither side." if abs(ratio) < LEAST_SUPPORT else f"{capital(odds_words(ratio))}."


def _date_says(period: PeriodCheck) -> str:
    years, share = period.years, printed_share_of(period.years)
    rare, seldom = ("printed", share) if share <= 0.5 else ("painted", 1.0 - share)
    count = f"one in {one_in(period.prior_log10_odds)} was" if seldom < 0.4 else "half were"
    return f"Of dials on movements of {years.words} ({years.basis}) about {count} {rare} from new."


def _both_say(period: PeriodCheck, call: str, ratio: float | None) -> str:
    after = period.posterior_log10_odds
    if ratio is None or after is None:
        return "Not settled: the date says what is usual, not what this dial is."
    if period.finding in (UNUSUAL, LATER):
        return _APART[call]
    if call != UNDETERMINED:
        return f"{capital(odds_words(after))}." if after * ratio > 0 else "The date leaves it possible."
    end = "if the dial is as old as the movement" if abs(after) >= threshold() else "still short of a call"
    return f"{capital(odds_words(after))}, {end}."


def _answer(dial: Mapping[str, Any], period: PeriodCheck, ratio: float | None) -> str:
    first, call, after = headline(dial), str(dial["call"]), period.posterior_log10_odds
    if ratio is None or after is None:
        return first
    if call == UNDETERMINED:
        who, do = ("These photographs", "do") if several(dial) else ("This photograph", "does")
        if abs(after) < threshold():
            return f"Painted or printed? {who} {do} not settle it, with the date or without."
        kind = _LOOKS[_side(after)]
        return f"{who} alone {do} not settle it; with the date, it is most likely {kind}."
    end = {
        FITS: "and its date allows it",
        UNUSUAL: "which is unusual for its date",
        LATER: "so it is likely younger than its movement",
    }[period.finding]
    return f"{first.rstrip('.')}, {end}."


def _side(added: float) -> str:
    return "hand" if added > 0 else "print"
