import math

import pytest

from dialtell.evaluate.words.support import NO_SUPPORT, chance_text, findings_sentence, ratio_words, support_words
from dialtell.synth.shared.errors import ParameterError


@pytest.mark.parametrize(
    ("ratio", "band"),
    [
        (1.0, None),
        (1.99, None),
        (2, "weak"),
        (10, "weak"),
        (10.1, "moderate"),
        (100, "moderate"),
        (1000, "moderately strong"),
        (1001, "strong"),
        (10_000, "strong"),
        (1_000_000, "very strong"),
        (1_000_001, "extremely strong"),
    ],
)
def test_bands_and_their_edges(ratio, band):
    # ENFSI Guideline for Evaluative Reporting (2015), as restated; edges to the weaker band is our choice.
    hand, printed = (support_words(sign * math.log10(ratio), capped=False) for sign in (1, -1))
    assert hand == (f"{band} support for hand painting" if band else NO_SUPPORT)
    assert printed == (f"{band} support for printing" if band else NO_SUPPORT)


def test_a_capped_ratio_is_at_least_the_band_it_tops():
    assert support_words(2.0, capped=True) == "at least moderate support for hand painting"
    assert support_words(-1.3, capped=True) == "at least moderate support for printing"
    assert support_words(0.2, capped=True) == NO_SUPPORT


def test_sentence_speaks_of_the_findings():
    assert findings_sentence(1.32, capped=False) == (
        "What is seen is about 21 times more probable if the dial was painted by hand than if it was printed."
    )
    assert "at least 20 times more probable if the dial was printed" in findings_sentence(-1.3, capped=True)
    assert "equally probable" in findings_sentence(0.1, capped=False)


def test_ratio_words_keep_two_figures():
    assert [ratio_words(math.log10(r)) for r in (2.14, 9.96, 34.6, 1000, 1349)] == [
        "2.1", "10.0", "35", "1 000", "1 300",
    ]  # fmt: skip


@pytest.mark.parametrize("value", [math.nan, math.inf])
def test_unbounded_ratios_are_refused(value):
    with pytest.raises(ParameterError, match="log10_lr is"):
        support_words(value, capped=False)


@pytest.mark.parametrize(
    ("probability", "text"),
    [(0.5, "0.50"), (0.994, "0.99"), (0.9959, "0.996"), (0.00398, "0.004"), (0.99996, "0.99996"), (0.2, "0.20"),
     (1.0, "1.000000")],
)  # fmt: skip
def test_a_probability_short_of_certain_never_reads_as_certain(probability, text):
    assert chance_text(probability) == text
