import math

import numpy as np
import pytest

from dialtell.evaluate.verdict import LEAST_PATCHES, LEAST_ZONE_PATCHES, Evidence, Verdict, judge
from dialtell.model.patches import SIDE, PatchSet
from dialtell.model.store import load_weights
from dialtell.synth.terms import ZONES, Zone


def patches(*counts, resolution=0.0):
    """A bag with so many patches of each zone, in the examiner's order."""
    zone = np.repeat(np.arange(len(counts)), counts)
    n = len(zone)
    density = np.random.default_rng(0).uniform(0, 1, (n, SIDE, SIDE)).astype(np.float32)
    right = np.tile([1.0, 0.0], (n, 1))
    return PatchSet(density, zone, np.zeros((n, 2)), right, np.full(n, 0.3), 1.0, resolution)


def test_zones_with_too_few_strokes_are_not_judged(make_weights):
    verdict = judge(patches(3, 4, 0, 9), load_weights(make_weights()))
    assert [verdict.zones[zone].judged for zone in ZONES] == [False, True, False, True, False]
    assert verdict.whole.judged and verdict.whole.patches == 16
    assert verdict.zones[Zone.SIGNATURE] == Evidence(3)


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


def verdict(whole, *ratios):
    """ratios : log10 LR of each zone in the examiner's order; None not judged."""
    zones = {zone: Evidence(0) for zone in ZONES}
    for zone, ratio in zip(ZONES, ratios, strict=False):
        zones[zone] = Evidence(2 if ratio is None else 12, ratio)
    return Verdict(Evidence(40, whole), zones)


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
