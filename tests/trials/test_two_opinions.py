import json

import pytest
from trials.opinions.two_opinions import Pair, both_opinions, figures, main

from dialtell.synth.shared.errors import ParameterError


def pair(hand, net, measured, call="undetermined", cluster=0):
    return Pair(hand, cluster, net, measured, call)


def test_who_was_wrong_is_counted():
    pairs = [
        pair(1, 2.0, 0.5, cluster=1),  # both right
        pair(1, -1.0, 0.5, cluster=2),  # the net alone wrong
        pair(0, -2.0, 0.5, cluster=3),  # the measurements alone wrong
        pair(0, 1.0, 0.5, cluster=4),  # both wrong
        pair(0, -1.0, None, cluster=5),  # not measured
        pair(1, 1.5, None, call="hand-painted", cluster=6),
        pair(0, 1.5, -0.9, call="hand-painted", cluster=7),  # a wrong call
    ]
    found = figures(pairs)
    assert (found["both_lean"], found["agree"], found["both_wrong"]) == (5, 2, 1)
    assert (found["net_alone_wrong"], found["measurements_alone_wrong"]) == (2, 1)
    assert found["calls"] == {"made": 2, "right": 1} and found["sum_where_both"]["n"] == 5
    assert found["measurements"]["n"] == 5 and found["net"]["n"] == 7
    # painted .5 and .5 against printed .5, .5, -.9: a tie counts one half
    assert found["measurements"]["auc"] == pytest.approx((4 * 0.5 + 2) / 6, abs=1e-4)


def test_one_kind_alone_has_no_area():
    assert figures([pair(1, 1.0, 1.0)])["net"] == {"n": 1, "auc": None}


def test_a_dial_is_judged_by_both():
    found = both_opinions(("A", 4))
    assert found is not None and found.hand == 1 and found.net is not None
    assert found.both is None or found.both == found.net + found.measured


def test_too_few():
    with pytest.raises(ParameterError, match="count is 1"):
        main(["--count", "1"])


@pytest.mark.slow
def test_the_command(capsys):
    assert main(["--rung", "A", "--count", "4", "--workers", "1"]) == 0
    assert json.loads(capsys.readouterr().out)["dials"] == 4
