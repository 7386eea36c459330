"""One sentence for each call, made from what was found: which zones agree, which were not read, what is lacking."""

from __future__ import annotations

from collections.abc import Sequence

from dialtell.evaluate.words.stated import DISAGREE, WITHHELD
from dialtell.evaluate.words.support import NO_SUPPORT, NOT_JUDGED, listed, ratio_words, support_words
from dialtell.model.net.calibration import CANNOT_TELL, HAND, PHOTOGRAPHIC, PRINTED, TRANSFER, UNDETERMINED, threshold
from dialtell.model.net.resolution import Resolution
from dialtell.model.net.verdict import LEAST_PATCHES, LEAST_ZONE_PATCHES, PrintEvidence, ProcessEvidence, Verdict
from dialtell.model.reading.zones import ZoneMap
from dialtell.synth.shared.terms import ZONES, Zone

SIDE = {HAND: "hand painting", PRINTED: "printing"}
UNLIKE = (
    "The strokes look like nothing the program was taught on, so no call is made of them: photograph the dial anew, "
    "sharp, square on and in even light, or examine it under magnification."
)
NOT_TOLD_APART = "Not told apart: the close-up does not show where on the dial it lies."
_NAMES = {Zone.OTHER: "rest of the dial"}
_EXPECTED = (Zone.SIGNATURE, Zone.NUMERALS, Zone.MINUTE_TRACK, Zone.SECONDS_BIT)


def dial_support(verdict: Verdict) -> str:
    """The dial's likelihood ratio in words."""
    if verdict.whole.log10_lr is None:
        return NOT_JUDGED
    if verdict.whole.withheld:
        return WITHHELD
    return DISAGREE if verdict.mixed else support_words(verdict.whole.log10_lr, verdict.whole.capped)


def dial_reason(
    verdict: Verdict, resolution: Resolution, unrecognised: str | None = None, *, part: bool = False
) -> str:
    """Why the dial was called so, in one sentence. unrecognised : what of the photograph was not, where that withholds
    the call. part : of a close-up, of which no zones are expected."""
    ratio = verdict.whole.log10_lr
    if ratio is None:
        if unrecognised is not None:
            return f"No call is made: {unrecognised}."
        return _nothing_judged(verdict, resolution)
    if verdict.whole.withheld:
        if unrecognised is not None:
            return f"No call is made: {unrecognised}."
        if resolution.screened:
            return "No call is made from a picture of a halftone print: its dots break up every stroke."
        return UNLIKE if resolution.enough else f"No call is made: {resolution.shortfall}."
    if verdict.mixed:
        return _contradiction(verdict)
    if verdict.call != UNDETERMINED:
        agreeing = verdict.called(verdict.call)
        if agreeing:
            first = f"{_subject(agreeing)} for {SIDE[verdict.call]}"
        else:
            first = f"No zone settles it alone, but together they speak for {SIDE[verdict.call]}"
        return "; ".join([first, *_silent(verdict, verdict.called(UNDETERMINED) if agreeing else [])]) + "."
    said = "; ".join([_unsettled(verdict, ratio, part=part), *([] if part else _silent(verdict, []))]) + "."
    return " ".join([said, *_two_ways(verdict)])


def _two_ways(verdict: Verdict) -> list[str]:
    """That looking at the strokes and comparing them come to opposite ends, where they do."""
    ways = None if verdict.explanation is None else verdict.explanation.ways
    if ways is None or not ways.apart:
        return []
    if ways.look > 0:
        return ["One by one its strokes look painted, but they are as like one another as those of a print."]
    return ["One by one its strokes look printed, but they differ from one another as those of a hand do."]


def _unsettled(verdict: Verdict, ratio: float, *, part: bool) -> str:
    """Why a dial whose strokes are resolved gets no call, with the zones that would have settled it by themselves."""
    called = verdict.called(HAND) or verdict.called(PRINTED)  # of one side only, or the dial would be mixed
    subject = "Judged as one zone the strokes speak" if part else _subject(called) if called else ""
    spoken = f"{subject} for {SIDE[verdict.zones[called[0]].call]}" if called else ""
    side, odds = HAND if ratio > 0 else PRINTED, f"{ratio_words(ratio)} to 1"
    short = f"short of the {10 ** threshold():.0f} to 1 that a call needs"
    if support_words(ratio, verdict.whole.capped) == NO_SUPPORT:
        return (
            f"{spoken}, but the dial taken together speaks for neither side"
            if called
            else ("What was read speaks for neither side")
        )
    if not called:
        return f"What was read leans towards {SIDE[side]}, but at {odds} it falls {short}"
    if verdict.zones[called[0]].call == side:
        return f"{spoken}, but the dial taken together, at {odds}, falls {short}"
    return f"{spoken}, but the dial taken together leans towards {SIDE[side]}; at {odds} it falls {short}"


def zone_reason(zone: Zone, evidence: ProcessEvidence, zones: ZoneMap) -> str:
    """Why a zone was called so, or not judged, in one sentence."""
    if evidence.log10_lr is not None:
        words = support_words(evidence.log10_lr, evidence.capped)
        if evidence.withheld:
            return f"Read from {_patches(evidence.patches)} with strokes, but the photograph does not carry a call."
        short = ", short of a call" if evidence.call == UNDETERMINED and words != NO_SUPPORT else ""
        return f"{words[:1].upper()}{words[1:]}, from {_patches(evidence.patches)} with strokes{short}."
    if not zones.named:
        return NOT_TOLD_APART
    if zone not in zones.found:
        if zone is Zone.SECONDS_BIT:
            return "Not found. If the dial has one, its strokes count with the rest of the dial."
        return "Not found. If the dial has one, it was not judged."
    hidden = _hidden(zone, zones)
    if not evidence.patches:
        return f"Not found: no strokes that can be read there{hidden}."
    if evidence.patches < LEAST_ZONE_PATCHES:
        count = _patches(evidence.patches)
        return f"Too few to judge by itself: {count} with strokes, at least {LEAST_ZONE_PATCHES} are needed{hidden}."
    return f"Not judged: too few strokes on the whole dial to compare its {_patches(evidence.patches)} with."


def print_reason(evidence: PrintEvidence) -> str:
    """Why a print was called transfer or photographic, or neither, in one sentence."""
    ratio = evidence.log10_lr
    if ratio is None:
        return "These weights are not calibrated to tell transfer from photographic prints; train new ones for that."
    if evidence.call == CANNOT_TELL:
        if support_words(ratio, capped=False) == NO_SUPPORT:
            return "A transfer and a photographic print are about equally likely."
        likelier = PHOTOGRAPHIC if ratio > 0 else TRANSFER
        return (
            f"A {likelier} print is likelier by {ratio_words(ratio)} to 1, short of the {10 ** threshold():.0f} to 1 "
            "that a call needs."
        )
    one, other = "transfer", "photographic"
    if evidence.call == PHOTOGRAPHIC:
        one, other = other, one
    least = "at least" if evidence.capped else "about"
    return f"What is seen is {least} {ratio_words(ratio)} times more probable on a {one} than on a {other} print."


def print_record(verdict: Verdict) -> dict[str, object] | None:
    """How a dial called printed was printed, for the JSON of score; None for every other dial."""
    evidence = verdict.print_process
    if evidence is None:
        return None
    chance, ratio = evidence.probability_photographic, evidence.log10_lr
    return {
        "call": evidence.call,
        "probability_photographic": None if chance is None else round(chance, 6),
        "log10_lr": None if ratio is None else round(ratio, 4),
        "reason": print_reason(evidence),
    }


def _hidden(zone: Zone, zones: ZoneMap) -> str:
    """A clause about the watch hands where they cover much of a zone."""
    here = zones.label == ZONES.index(zone)
    share = float(zones.hands[here].mean()) if here.any() else 0.0
    return f"; the watch hands cover {share:.0%} of it" if share >= 0.1 else ""


def name(zone: Zone) -> str:
    """A zone as sentences name it."""
    return _NAMES.get(zone, zone.value)


def _nothing_judged(verdict: Verdict, resolution: Resolution) -> str:
    count = verdict.whole.patches
    if count < LEAST_PATCHES:
        first = f"Too few strokes could be read: {_patches(count)} with strokes, at least {LEAST_PATCHES} are needed"
    else:
        first = (
            f"No zone shows enough strokes to compare: at least {LEAST_ZONE_PATCHES} small squares with strokes in one "
            "zone are needed"
        )
    return f"{first}." if resolution.enough else f"{first}; {resolution.shortfall}."


def _contradiction(verdict: Verdict) -> str:
    hand, printed = verdict.called(HAND), verdict.called(PRINTED)
    end = "the dial may carry both kinds of work, so it is not called as a whole"
    if hand and printed:
        return f"{_subject(hand)} for hand painting and {_listed(printed)} for printing: {end}."
    zones, side = (hand, HAND) if hand else (printed, PRINTED)
    other = PRINTED if side == HAND else HAND
    return f"{_subject(zones)} for {SIDE[side]}, the dial taken together for {SIDE[other]}: {end}."


def _silent(verdict: Verdict, open_zones: Sequence[Zone]) -> list[str]:
    """Clauses about the zones that say nothing."""
    silent = [zone for zone in _EXPECTED if not verdict.zones[zone].judged]
    unread = [zone for zone in silent if verdict.zones[zone].patches]
    lost = [zone for zone in silent if not verdict.zones[zone].patches]
    parts = []
    if open_zones:
        parts.append(f"{_listed(open_zones)} {_verb(open_zones, 'does', 'do')} not settle it")
    if unread:
        parts.append(f"{_listed(unread)} {_verb(unread, 'shows', 'show')} too little to be judged alone")
    if lost:
        parts.append(f"{_listed(lost)} {_verb(lost, 'was', 'were')} not found")
    return parts


def _subject(zones: Sequence[Zone]) -> str:
    """Such as "Signature and minute track both speak"."""
    if len(zones) == 1:
        return f"The {name(zones[0])} {_verb(zones, 'speaks', 'speak')}"
    names = [name(zone) for zone in zones]
    text = listed(names)
    return f"{text[:1].upper()}{text[1:]} {'both' if len(zones) == 2 else 'all'} speak"


def _listed(zones: Sequence[Zone]) -> str:
    return listed([f"the {name(zone)}" for zone in zones])


def _verb(zones: Sequence[Zone], one: str, many: str) -> str:
    return one if len(zones) == 1 and zones[0] is not Zone.NUMERALS else many


def _patches(count: int) -> str:
    """What the code calls patches; to a restorer a patch is a repair."""
    return f"{count or 'no'} small {'square' if count == 1 else 'squares'}"
