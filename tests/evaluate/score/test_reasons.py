from dataclasses import replace

import numpy as np
import pytest
from seen_maps import seen_under
from verdicts_made import verdict

from dialtell.evaluate.score.reasons import DISAGREE, dial_reason, dial_support, print_reason, print_record, zone_reason
from dialtell.model.net.explanation import Explanation, Ways
from dialtell.model.net.resolution import Resolution
from dialtell.model.net.verdict import PrintEvidence, ProcessEvidence, Verdict
from dialtell.model.reading.zones import Circle, ZoneMap
from dialtell.synth.shared.terms import ZONES, Zone

FINE = Resolution(1000, 900, 640)
COARSE = Resolution(500, 236, 640, diameter_mm=44.873)


@pytest.mark.parametrize(
    ("ratios", "resolution", "said"),
    [
        (
            (2.0, 0.2, 1.6, 1.4, None),
            FINE,
            "Numerals and minute track both speak for hand painting; the signature does not settle it; the seconds bit "
            "shows too little to be judged alone.",
        ),
        (
            (-2.0, -1.5, -1.5, -1.5, -1.5),
            FINE,
            "Signature, numerals, minute track and seconds bit all speak for printing.",
        ),
        (
            (1.5, 0.9, 0.8, 0.9, 0.9),
            FINE,
            "No zone settles it alone, but together they speak for hand painting.",
        ),
        (
            (0.7, None, 0.6, 0.2, 0.2),
            FINE,
            "What was read leans towards hand painting, but at 5.0 to 1 it falls short of the 9 to 1 that a call "
            "needs; the signature shows too little to be judged alone.",
        ),
        # a zone that would settle it by itself is named, with what the dial taken together says
        (
            (0.7, 0.3, 1.2, 0.2, 0.2),
            FINE,
            "The numerals speak for hand painting, but the dial taken together, at 5.0 to 1, falls short of the 9 to 1 "
            "that a call needs.",
        ),
        (
            (-0.6, 0.3, 1.2, 0.2, 0.2),
            FINE,
            "The numerals speak for hand painting, but the dial taken together leans towards printing; at 4.0 to 1 it "
            "falls short of the 9 to 1 that a call needs.",
        ),
        (
            (0.1, 0.3, 1.2, 0.2, 0.2),
            FINE,
            "The numerals speak for hand painting, but the dial taken together speaks for neither side.",
        ),
        (
            (2.0, 1.9, -1.5, -1.4, 0.0),
            FINE,
            "The signature speaks for hand painting and the numerals and the minute track for printing: the dial may "
            "carry both kinds of work, so it is not called as a whole.",
        ),
        (
            (2.0, 0.3, -1.5, 0.1, 0.0),
            FINE,
            "The numerals speak for printing, the dial taken together for hand painting: the dial may carry both kinds "
            "of work, so it is not called as a whole.",
        ),
    ],
)  # fmt: skip
def test_reasons_say_what_was_found(ratios, resolution, said):
    assert dial_reason(verdict(*ratios), resolution) == said


@pytest.mark.parametrize(
    ("look", "comparison", "said"),
    [
        (1.0, -0.6, " One by one its strokes look painted, but they are as like one another as those of a print."),
        (-1.0, 0.6, " One by one its strokes look printed, but they differ from one another as those of a hand do."),
        (1.0, -0.2, ""),
        (0.4, 0.4, ""),
    ],
)
def test_that_looking_and_comparing_disagree_is_said_of_open_dials(look, comparison, said):
    told = Explanation(0.0, *(np.empty(0),) * 5, ways=Ways(look, comparison))
    open_, called = (replace(verdict(ratio, 0.2, 0.2, 0.2, 0.2), explanation=told) for ratio in (0.5, 1.5))
    plain = dial_reason(replace(open_, explanation=None), FINE)
    assert dial_reason(open_, FINE) == plain + said
    assert dial_reason(called, FINE) == dial_reason(replace(called, explanation=None), FINE)


def test_what_was_not_found_is_not_called_unreadable():
    assert "the seconds bit was not found" in dial_reason(verdict(2.0, 1.5, 1.5, 1.5), FINE)


def test_nothing_judged_says_how_much_is_lacking():
    none = Verdict(ProcessEvidence(3), {zone: ProcessEvidence(0) for zone in ZONES})
    said = dial_reason(none, COARSE)
    assert said.startswith(
        "Too few strokes could be read: 3 small squares with strokes, at least 6 are needed; the photograph"
    )
    assert dial_support(none) == "not judged"
    scattered = Verdict(ProcessEvidence(9), {zone: ProcessEvidence(3) for zone in ZONES})
    assert dial_reason(scattered, FINE).startswith("No zone shows enough strokes to compare: at least 4 small")
    blurred = Resolution(500, 0, 640)
    assert "too few clean edges of strokes to tell" in dial_reason(none, blurred)


def test_support_is_stated_only_where_zones_agree():
    assert dial_support(verdict(-1.5, -1.5)) == "moderate support for printing"
    capped = Verdict(ProcessEvidence(40, 2.0, True), {})
    assert dial_support(capped) == "at least moderate support for hand painting"
    assert dial_support(verdict(2.0, 1.5, -1.5)) == DISAGREE


def test_zones_say_why_they_were_not_judged():
    label = np.full((10, 10), ZONES.index(Zone.SECONDS_BIT), np.int8)
    hands = np.zeros((10, 10), bool)
    bare = ZoneMap(label, seen_under(hands), None, (0.5, 0.8), None, (), frozenset({Zone.NUMERALS}))
    full = ZoneMap(label, seen_under(hands), (0.8, 0.9), (0.5, 0.8), Circle(0, 0.5, 0.2, 1.0), ())
    hands = hands.copy()
    hands[:3] = True
    hidden = replace(full, seen=seen_under(hands))
    for lost in (Zone.SECONDS_BIT, Zone.MINUTE_TRACK):
        assert zone_reason(lost, ProcessEvidence(0), bare).startswith("Not found. If the dial has one, ")
    assert zone_reason(Zone.NUMERALS, ProcessEvidence(0), bare).startswith("Not found: no strokes that can be read")
    assert zone_reason(Zone.SECONDS_BIT, ProcessEvidence(0), full) == "Not found: no strokes that can be read there."
    assert zone_reason(Zone.NUMERALS, ProcessEvidence(1), full).startswith(
        "Too few to judge by itself: 1 small square with strokes, at least 4"
    )
    assert zone_reason(Zone.SECONDS_BIT, ProcessEvidence(2), hidden).endswith(
        "needed; the watch hands cover 30% of it."
    )
    judged = zone_reason(Zone.NUMERALS, ProcessEvidence(58, 1.5), full)
    assert judged == "Moderate support for hand painting, from 58 small squares with strokes."
    assert zone_reason(Zone.NUMERALS, ProcessEvidence(9, -0.8), full).endswith(
        "9 small squares with strokes, short of a call."
    )


def test_a_withheld_call_says_why():
    whole = ProcessEvidence(40, 1.5, withheld=True)
    held = Verdict(whole, {zone: ProcessEvidence(12, 1.5, withheld=True) for zone in ZONES})
    assert dial_reason(held, COARSE).startswith("No call is made: the photograph resolves about 240 px across")
    assert "halftone" in dial_reason(held, replace(FINE, screened=True))
    assert dial_support(held).startswith("withheld")


def test_a_print_says_how_sure_its_process_is():
    """10^1.6 is 39.8; 10^2 is 100."""
    assert print_reason(PrintEvidence(1.6)) == (
        "What is seen is about 40 times more probable on a photographic than on a transfer print."
    )
    assert print_reason(PrintEvidence(-2.0, capped=True)) == (
        "What is seen is at least 100 times more probable on a transfer than on a photographic print."
    )
    assert print_reason(PrintEvidence(0.94)) == (
        "A photographic print is likelier by 8.7 to 1, short of the 9 to 1 that a call needs."
    )
    assert print_reason(PrintEvidence(0.02)) == "A transfer and a photographic print are about equally likely."
    assert "not calibrated" in print_reason(PrintEvidence())


def test_the_record_of_a_print():
    printed = replace(verdict(-2.0, -1.5), printing=PrintEvidence(-1.0))
    record = print_record(printed)
    assert record == {
        "call": "transfer",
        "probability_photographic": pytest.approx(1 / 11, abs=1e-6),
        "log10_lr": -1.0,
        "reason": print_reason(PrintEvidence(-1.0)),
    }
    assert print_record(replace(verdict(2.0, 1.5), printing=PrintEvidence(-1.0))) is None
    unknown = print_record(verdict(-2.0, -1.5))
    assert (unknown["call"], unknown["log10_lr"], unknown["probability_photographic"]) == ("cannot tell", None, None)
