"""One sentence for each call, made from what was found: which zones agree, which were not read, what is lacking."""

from __future__ import annotations

from collections.abc import Sequence

from dialtell.evaluate.resolution import Resolution
from dialtell.evaluate.support import NOT_JUDGED, support_words
from dialtell.evaluate.verdict import LEAST_PATCHES, LEAST_ZONE_PATCHES, Evidence, Verdict
from dialtell.model.calibration import HAND, PRINTED, UNDETERMINED, threshold
from dialtell.model.zones import ZoneMap
from dialtell.synth.terms import Zone

SIDE = {HAND: "hand painting", PRINTED: "printing"}
DISAGREE = "zones disagree, no support stated for the dial as a whole"
_NAMES = {Zone.OTHER: "rest of the dial"}
_EXPECTED = (Zone.SIGNATURE, Zone.NUMERALS, Zone.MINUTE_TRACK, Zone.SECONDS_BIT)


def dial_support(verdict: Verdict) -> str:
    """The dial's likelihood ratio in words."""
    if verdict.whole.log10_lr is None:
        return NOT_JUDGED
    return DISAGREE if verdict.mixed else support_words(verdict.whole.log10_lr, verdict.whole.capped)


def dial_reason(verdict: Verdict, resolution: Resolution) -> str:
    """Why the dial was called so, in one sentence."""
    ratio = verdict.whole.log10_lr
    unread = [zone for zone in _EXPECTED if not verdict.zones[zone].judged]
    if ratio is None:
        return _nothing_judged(verdict, resolution)
    if verdict.mixed:
        return _contradiction(verdict)
    if verdict.call != UNDETERMINED:
        agreeing = verdict.called(verdict.call)
        if agreeing:
            first = f"{_subject(agreeing)} for {SIDE[verdict.call]}"
        else:
            first = f"No zone settles it alone, but together they speak for {SIDE[verdict.call]}"
        return "; ".join([first, *_silent(verdict.called(UNDETERMINED) if agreeing else [], unread)]) + "."
    if not resolution.enough:
        first = f"What was read does not settle it: {resolution.shortfall}"
    else:
        side = SIDE[HAND if ratio > 0 else PRINTED]
        first = (
            f"What was read leans towards {side}, but its log10 LR of {ratio:+.2f} falls short of the "
            f"{threshold():.2f} either way that a call needs"
        )
    return "; ".join([first, *_silent([], unread)]) + "."


def zone_reason(zone: Zone, evidence: Evidence, zones: ZoneMap) -> str:
    """Why a zone was called so, or not judged, in one sentence."""
    if evidence.log10_lr is not None:
        words = support_words(evidence.log10_lr, evidence.capped)
        short = ", short of a call" if evidence.call == UNDETERMINED else ""
        return f"{words[:1].upper()}{words[1:]}, from {_patches(evidence.patches)} with strokes{short}."
    if zone is Zone.SECONDS_BIT and zones.seconds is None:
        return "Not found: no circle of a seconds bit below the centre."
    if zone is Zone.MINUTE_TRACK and zones.track is None and not evidence.patches:
        return "Not found: no track of sixty divisions near the edge."
    if not evidence.patches:
        return "Not found: no strokes that can be read there."
    if evidence.patches < LEAST_ZONE_PATCHES:
        return f"Too few strokes: {_patches(evidence.patches)} with strokes, at least {LEAST_ZONE_PATCHES} are needed."
    return f"Not judged: too few strokes on the whole dial to compare its {_patches(evidence.patches)} with."


def name(zone: Zone) -> str:
    return _NAMES.get(zone, zone.value)


def _nothing_judged(verdict: Verdict, resolution: Resolution) -> str:
    count = verdict.whole.patches
    if count < LEAST_PATCHES:
        first = f"Too few strokes could be read: {_patches(count)} with strokes, at least {LEAST_PATCHES} are needed"
    else:
        first = f"No zone shows enough strokes to compare, at least {LEAST_ZONE_PATCHES} patches in one are needed"
    return f"{first}." if resolution.enough else f"{first}; {resolution.shortfall}."


def _contradiction(verdict: Verdict) -> str:
    hand, printed = verdict.called(HAND), verdict.called(PRINTED)
    end = "the dial may carry both kinds of work, so it is not called as a whole"
    if hand and printed:
        return f"{_subject(hand)} for hand painting and {_listed(printed)} for printing: {end}."
    zones, side = (hand, HAND) if hand else (printed, PRINTED)
    other = PRINTED if side == HAND else HAND
    return f"{_subject(zones)} for {SIDE[side]}, the dial taken together for {SIDE[other]}: {end}."


def _silent(open_zones: Sequence[Zone], unread: Sequence[Zone]) -> list[str]:
    parts = []
    if open_zones:
        parts.append(f"{_listed(open_zones)} {_verb(open_zones, 'does', 'do')} not settle it")
    if unread:
        parts.append(f"{_listed(unread)} could not be read")
    return parts


def _subject(zones: Sequence[Zone]) -> str:
    """Such as "Signature and minute track both speak"."""
    if len(zones) == 1:
        return f"The {name(zones[0])} {_verb(zones, 'speaks', 'speak')}"
    names = [name(zone) for zone in zones]
    text = f"{', '.join(names[:-1])} and {names[-1]}"
    return f"{text[:1].upper()}{text[1:]} {'both' if len(zones) == 2 else 'all'} speak"


def _listed(zones: Sequence[Zone]) -> str:
    names = [f"the {name(zone)}" for zone in zones]
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def _verb(zones: Sequence[Zone], one: str, many: str) -> str:
    return one if len(zones) == 1 and zones[0] is not Zone.NUMERALS else many


def _patches(count: int) -> str:
    return f"{count or 'no'} {'patch' if count == 1 else 'patches'}"
