"""What is said first: one answer, the strength as "one in N", the heaviest part, shares that multiply to the odds."""

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from pages_made import photo, sample, zone

from dialtell.evaluate.inspection.advice import advice_of
from dialtell.evaluate.inspection.bearing import Agreement, Bearing
from dialtell.evaluate.inspection.evidence_table import EvidenceTable, ZoneTable
from dialtell.evaluate.inspection.first_screen import against, loudest, product_sentence, weights, with_date
from dialtell.evaluate.inspection.page import PageExtras, ZoneCrop
from dialtell.evaluate.pages import pictures
from dialtell.evaluate.period.date_check import Years, check_period
from dialtell.evaluate.words.first_words import headline, one_in, strength
from dialtell.evaluate.words.shares import Shares
from dialtell.evaluate.words.stated import DISAGREE, WITHHELD


def dial(call, ratio, support="weak support for hand painting", **more):
    return sample(call=call, log10_lr=ratio, support=support, **more)


@pytest.mark.parametrize(
    ("call", "ratio", "year", "answer"),
    [
        ("hand-painted", 1.3, 1870, "This dial looks painted by hand, and its date allows it."),
        ("hand-painted", 1.3, 1915, "This dial looks painted by hand, which is unusual for its date."),
        ("printed", -1.3, 1900, "This dial looks printed, and its date allows it."),
        ("printed", -1.3, 1870, "This dial looks printed, so it is likely younger than its movement."),
        ("undetermined", 0.4, 1870, "This photograph alone does not settle it; with the date, it is most likely "
         "painted by hand."),
        ("undetermined", -0.4, 1886, "Painted or printed? This photograph does not settle it, with the date or "
         "without."),
    ],
)  # fmt: skip
def test_strokes_and_date_give_one_answer(call, ratio, year, answer):
    period = check_period(Years(year, year, year, "as stated"), call, ratio)
    said = with_date(dial(call, ratio), period)
    assert said.answer == answer and [who for who, _ in said.rows] == ["The strokes", "The date", "Both"]
    both = said.rows[-1][1]
    other = {"hand-painted": "for printing", "printed": "for hand painting"}.get(call)
    assert other is None or other not in both  # never two answers


def test_several_photographs_with_a_date_are_not_called_one():
    laid = [{"squares": 60}, {"squares": 40}]
    period = check_period(Years(1870, 1870, 1870, "as stated"), "undetermined", 0.4)
    answer = with_date(dial("undetermined", 0.4, photographs=laid), period).answer
    assert answer == "These photographs alone do not settle it; with the date, it is most likely painted by hand."


def test_reason_and_what_is_missing_speak_with_one_voice():
    """Whatever was not recognised: the flag that the reason names is the one that is asked for."""
    shown = SimpleNamespace(screened=False, enough=True, true=500.0, needed=310.0)
    both = {"outline": 0.6, "twelve": 0.6}
    wanted = [({"outline": 0.2}, "--outline"), ({"twelve": 0.2}, "--twelve"), (both, "--twelve"), (both, "--outline")]
    for known, flag in [*wanted, ({"fired_enamel": 0.1}, "the dial itself")]:
        told = advice_of(dial("undetermined", 1.3, WITHHELD, withheld=True, recognised=known), shown)
        assert flag in " ".join(told.how) and "strokes can be recognised" not in told.missing
    sure = dial("undetermined", 1.3, WITHHELD, withheld=True, recognised={"outline": 0.9, "twelve": None})
    assert "strokes can be recognised" in advice_of(sure, shown).missing


def test_two_things_that_are_missing_at_once_are_both_asked_for():
    coarse = SimpleNamespace(screened=False, enough=False, true=250.0, needed=310.0, words=lambda px: f"{px:.0f} px")
    held = dial("undetermined", 1.3, WITHHELD, withheld=True, recognised={"outline": 0.9, "twelve": 0.2})
    told = advice_of(held, coarse)
    assert told.missing == "Which way is up. And sharp detail: 1000 px and more."
    assert "--twelve" in told.how[0] and any("Come closer" in one for one in told.how)
    screen = SimpleNamespace(screened=True, enough=True, true=500.0, needed=310.0)
    assert "not of a printed picture" in advice_of(held, screen).missing


def test_a_close_up_alone_is_asked_for_the_whole_dial_and_several_photographs_are_not_called_one():
    shown = SimpleNamespace(screened=False, enough=True, true=500.0, needed=310.0)
    near = advice_of(dial("undetermined", 0.4, withheld=False, close_up={"located": True}), shown)
    assert near.missing.startswith("The rest of the dial") and near.how[0].startswith("Photograph the whole dial too")
    laid = [{"squares": 60}, {"squares": 40}]
    assert (
        "together with these and"
        in advice_of(dial("undetermined", 0.4, withheld=False, photographs=laid), shown).how[0]
    )
    assert "together with this one and" in advice_of(dial("undetermined", 0.4, withheld=False), shown).how[0]


def test_measurements_lean_the_other_way_only_where_one_is_shown_that_does():
    bears = Bearing(-1.0, 0.6, False, 30, "printed", Agreement.DISAGREE)
    tables = {
        lean: EvidenceTable((), (ZoneTable("numerals", "", (SimpleNamespace(lean=lean),), (), (), (), ()),), (), ())
        for lean in ("hand", "print")
    }
    assert against(PageExtras(bearing=bears, evidence=tables["hand"])) == bears.sentence
    assert against(PageExtras(bearing=bears, evidence=tables["print"])) == ""
    assert against(PageExtras(bearing=bears)) == against(PageExtras(evidence=tables["hand"])) == ""


def test_a_withheld_call_is_not_mended_by_a_date():
    record = dial("undetermined", 1.3, WITHHELD, withheld=True)
    said = with_date(record, check_period(Years(1870, 1870, 1870, "as stated"), "undetermined", None))
    assert said.answer == headline(record) and said.rows[-1][1].startswith("Not settled")
    assert strength(record) == ("", "")


def test_strength_in_words_and_as_one_in_n():
    """A ratio of 19 leaves one in 20, had both been equally common; of 4, one in 5."""
    assert [one_in(math.log10(n)) for n in (2, 4, 19, 99, 1299)] == ["3", "5", "20", "100", "1 300"]
    words, share = strength(dial("printed", -math.log10(19), "at least moderate support for printing"))
    assert words == "At least moderate support" and "at most one in 20 would be painted by hand" in share
    assert strength(dial("undetermined", 0.6))[0] == "Leaning to painted by hand: weak support"
    assert "as often painted as printed" in strength(dial("undetermined", 0.1, "no support either way"))[1]


def test_the_heaviest_part_of_the_calls_side_is_the_loudest():
    crops = [
        ZoneCrop(name, photo()[:60, :60], share=share) for name, share in (("numerals", 0.2), ("minute track", 9.0))
    ]
    shares = Shares(0.1, {"numerals": 0.5, "minute track": 0.3, "signature": 0.9, "seconds bit": -1.0})
    (one,) = loudest(dial("hand-painted", 0.8), shares, crops)  # the signature has no picture
    assert one.heading == "Numerals" and "3.2 times likelier, those in this picture 1.6 times." in one.says
    assert loudest(dial("printed", -0.8), shares, crops) == () and loudest(dial("printed", -0.8), None, crops) == ()
    split = dial("undetermined", 0.1, DISAGREE, zones=[zone("numerals", ratio=1.2), zone("minute track", ratio=-1.4)])
    assert [(one.heading, one.style) for one in loudest(split, None, crops)] == [
        ("Numerals", "hand"), ("Minute track", "print")
    ]  # fmt: skip
    assert headline(split).startswith("Parts of this dial look painted")
    laid = [{"squares": 60}, {"squares": 40}, {"squares": 0}]
    assert headline(dial("undetermined", 0.4, photographs=laid)).endswith("These photographs do not settle it.")
    assert headline(dial("undetermined", 0.4, photographs=laid[::2])).endswith("This photograph does not settle it.")


def test_what_the_parts_do_to_the_odds_multiplies_to_the_odds():
    shares = Shares(0.1, {"signature": 0.5, "other": -0.01, "numerals": -0.3})
    rows = weights(shares)
    assert math.prod(10**row.added for row in rows) == pytest.approx(10**shares.total)
    assert [row.says for row in rows] == [
        "3.2 times for hand painting", "no weight", "2.0 times for printing", "1.3 times for hand painting",
    ]  # fmt: skip
    assert rows[1].name == "Rest of the dial"
    assert product_sentence(shares, capped=False, stated=0.29).endswith(
        "they make 1.9 to 1 for hand painting: too little to speak for either side."
    )
    assert "no more than 1.6 to 1" in product_sentence(shares, capped=True, stated=0.2)
    both = replace(shares, ways=(0.19, 0.0))
    assert product_sentence(both, capped=False, stated=0.29).endswith(
        " Looked at one by one the strokes make 1.5 to 1 for hand painting, compared with their like even odds."
    )


def test_the_dials_picture_is_held_to_a_size():
    noise = np.random.default_rng(0).integers(0, 255, (700, 900, 3), dtype=np.uint8)
    assert len(pictures.jpeg_within(noise, 120_000)) * 3 / 4 < 121_000 < len(pictures.jpeg_uri(noise)) * 3 / 4
