import pytest

from dialtell.synth.shared.errors import ParameterError
from dialtell.train.stats.proportion import wilson


@pytest.mark.parametrize(
    ("hits", "trials", "low", "high"),
    [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718)],
)
def test_wilson_matches_newcombe(hits, trials, low, high):
    # Newcombe, Statistics in Medicine 17 (1998), 857-872, table I, method 3.
    assert wilson(hits, trials) == pytest.approx((low, high), abs=5e-5)


def test_ends_are_exact_and_mirrored():
    assert wilson(0, 7).low == 0.0
    assert wilson(7, 7).high == 1.0
    low, high = wilson(3, 11)
    assert wilson(8, 11) == pytest.approx((1 - high, 1 - low))


@pytest.mark.parametrize(("hits", "trials"), [(3, 2), (-1, 4), (0, 0)])
def test_impossible_counts_are_refused(hits, trials):
    with pytest.raises(ParameterError, match=f"is {hits if trials else trials};"):
        wilson(hits, trials)


def test_level_out_of_range_is_refused():
    with pytest.raises(ParameterError, match="level is 95"):
        wilson(1, 2, level=95)
