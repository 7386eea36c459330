"""The date check: trade facts about when printed dials came in, and odds put together by Bayes' rule."""

import math

import pytest

from dialtell.evaluate.period.date_check import (
    FITS,
    LATER,
    OPEN,
    UNUSUAL,
    Years,
    check_period,
    printed_share,
    prior_log10_odds,
)
from dialtell.synth.shared.errors import ParameterError


def years(year, spread=0.0):
    return Years(year - spread, year, year + spread, "--year")


def test_printing_replaced_painting_in_the_mid_1880s_and_was_standard_by_1890():
    """Common practice of the trade."""
    assert printed_share(1875) < 0.02
    assert printed_share(1885) < 0.5 < printed_share(1888)
    assert printed_share(1890) > 0.8
    assert all(printed_share(year) <= printed_share(year + 1) for year in range(1860, 1920))


@pytest.mark.parametrize(
    ("year", "call", "finding"),
    [
        (1874, "hand-painted", FITS),
        (1874, "printed", LATER),
        (1886, "hand-painted", FITS),
        (1886, "printed", FITS),
        (1905, "hand-painted", UNUSUAL),
        (1905, "printed", FITS),
        (1905, "undetermined", OPEN),
    ],
)
def test_findings(year, call, finding):
    """A printed dial on a movement made well before the process is a replacement (common practice)."""
    check = check_period(years(year), call, None if call == "undetermined" else 1.0)
    assert check.finding == finding
    assert str(year) in check.sentence


def test_odds_multiply():
    """Posterior odds = prior odds x LR (Bayes; e.g. Aitken & Taroni, Statistics and the Evaluation of Evidence)."""
    check = check_period(years(1890), "hand-painted", math.log10(19))
    share = printed_share(1890)
    odds = (1 - share) / share * 19
    assert check.posterior_hand == pytest.approx(odds / (1 + odds))
    assert check.posterior_log10_odds == pytest.approx(check.prior_log10_odds + check.stroke_log10_lr)
    assert check_period(years(1890), "undetermined", None).posterior_hand is None


def test_a_wide_interval_weighs_less():
    assert abs(prior_log10_odds(years(1886, 12))) < abs(prior_log10_odds(years(1874)))


def test_years_out_of_range_are_refused():
    with pytest.raises(ParameterError, match="year"):
        years(12)
