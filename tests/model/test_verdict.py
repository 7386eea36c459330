import math
from dataclasses import replace

import pytest
from verdicts_made import patches, verdict

from dialtell.model.net.calibration import Calibration
from dialtell.model.net.verdict import LEAST_PATCHES, LEAST_ZONE_PATCHES, PrintEvidence, ProcessEvidence, judge
from dialtell.model.net.weights_file import load_weights
from dialtell.synth.shared.terms import ZONES, Zone


def test_zones_with_too_few_strokes_are_not_judged(make_weights):
    verdict = judge(patches(3, 4, 0, 9), load_weights(make_weights()))
    assert [verdict.zones[zone].judged for zone in ZONES] == [False, True, False, True, False]
    assert verdict.whole.judged and verdict.whole.patches == 16
    assert verdict.zones[Zone.SIGNATURE] == ProcessEvidence(3)


@pytest.mark.parametrize("counts", [(0,), (5,), (3, 3, 3, 3), (0, LEAST_PATCHES - 1)])
def test_nothing_is_judged_without_enough_strokes(make_weights, counts):
    assert LEAST_ZONE_PATCHES == 4
    verdict = judge(patches(*counts), load_weights(make_weights(9.0, 9.0)))
    assert verdict.call == "undetermined" and verdict.whole.probability_hand is None
    assert not any(evidence.judged for evidence in verdict.zones.values())


def test_ratios_are_held_at_the_caps_and_called(make_weights):
    verdict = judge(patches(0, 20, 20), load_weights(make_weights(-9.0, -9.0)))
    assert verdict.call == "printed"
    assert (verdict.whole.log10_lr, verdict.whole.capped) == (-2.0, True)
    # LR 1/100 at prior odds 1:1
    assert verdict.whole.probability_hand == pytest.approx(1 / 101)


def test_a_net_that_breaks_down_is_an_error(make_weights):
    weights = load_weights(make_weights())
    bag = patches(20)
    bag.density[3] = math.nan
    with pytest.raises(ArithmeticError, match="not finite"):
        judge(bag, weights)


def test_parts_that_contradict_each_other_leave_the_dial_open():
    assert verdict(2.0, 1.5, 1.5).call == "hand-painted"
    # zones against each other, then a zone against the whole
    for mixed in (verdict(2.0, 1.5, -1.5), verdict(2.0, 0.1, -1.5)):
        assert mixed.mixed and mixed.call == "undetermined" and mixed.whole.log10_lr == 2.0
    # leaning the other way is no contradiction
    assert verdict(2.0, 1.5, -0.9).call == "hand-painted"


def test_a_photograph_that_does_not_carry_strokes_gets_numbers_but_no_call(make_weights):
    open_, held = (judge(patches(0, 20, 20), load_weights(make_weights(9.0, 9.0)), withheld=w) for w in (False, True))
    assert open_.call == "hand-painted"
    assert held.call == "undetermined" and held.whole.log10_lr == open_.whole.log10_lr
    assert {evidence.call for evidence in held.zones.values()} == {"undetermined"}


@pytest.mark.parametrize(
    ("offset", "call"), [(9.0, "photographic"), (-9.0, "transfer"), (1.0, "cannot tell"), (-1.8, "cannot tell")]
)
def test_prints_are_told_apart_only_where_the_ratio_carries_it(make_weights, offset, call):
    """An untrained net's logit is near 0, so the offset is about the log LR: 1.8 falls short of ln 9 = 2.197."""
    weights = replace(load_weights(make_weights(-9.0, -9.0)), print_calibration=Calibration(offset=offset))
    printing = judge(patches(0, 20, 20), weights).print_process
    assert printing.call == call and (printing.log10_lr > 0) == (offset > 0)
    assert printing.capped == (abs(offset) == 9.0)
    assert printing.probability_photographic == pytest.approx(1 / (1 + 10**-printing.log10_lr))


def test_the_process_of_print_is_stated_of_printed_dials_alone(make_weights):
    told = {"print_calibration": Calibration(offset=9.0)}
    for offset in (9.0, 0.0):
        weights = replace(load_weights(make_weights(offset, offset)), **told)
        assert judge(patches(0, 20, 20), weights).print_process is None
    printed = replace(load_weights(make_weights(-9.0, -9.0)), **told)
    assert judge(patches(0, 20, 20), printed, withheld=True).print_process is None
    assert replace(verdict(-2.0, -1.5, 1.5), printing=PrintEvidence(2.0)).print_process is None  # zones contradict


def test_weights_never_calibrated_for_it_cannot_tell(make_weights):
    printing = judge(patches(0, 20, 20), load_weights(make_weights(-9.0, -9.0))).print_process
    assert printing.call == "cannot tell" and printing.log10_lr is None
