"""Twins where the camera left nothing to tell: there the truth is one half, and nowhere else."""

from dataclasses import replace

import numpy as np
import pytest
import torch

from dialtell.synth.scene import Range
from dialtell.synth.shared.terms import ZONES
from dialtell.train.bags import bags as module
from dialtell.train.bags.alike import alike_zones
from dialtell.train.bags.bags import Bag, twin_bags
from dialtell.train.run.store import BagStore, whole_batch

STILL = Range(
    pixels_per_radius=(120.0, 150.0),
    max_side=420,
    jitter=0.0,
    scatter=(0.0, 0.0),
    mastered=0.0,
    wear=(0.0, 0.0),
    hands_off=1.0,
)
UNSTEADY = replace(STILL, jitter=1.5, scatter=(0.0, 1.0), steadiness=(0.0, 0.2))


def pairs(scope, count):
    found = []
    for index in range(40):
        group = twin_bags(41, index, scope)[:2]  # the first camera's
        if [bag.dial for bag in group] == [1, 0]:
            found.append(group)
        if len(found) == count:
            return found
    pytest.fail("too few twins could be read")


def share(groups):
    return np.mean([bag.alike.mean() for group in groups for bag in group])


def test_unsteady_hands_are_told_and_perfect_ones_are_hardly():
    """Without deviations a hand's coat and a print differ by the film's and the powder's edges alone."""
    perfect, unsteady = pairs(STILL, 4), pairs(UNSTEADY, 4)
    assert share(perfect) > 2 * share(unsteady) + 0.03
    assert share(unsteady) < 0.15
    assert all(bag.dial_target == bag.dial for group in unsteady for bag in group)


def test_pictures_too_coarse_to_tell_count_for_half(monkeypatch):
    """A twin painted by the process of the other looks the same wherever the camera is."""
    whole = module.radiance

    def same(spec, coats=None, surface=None):
        return whole(spec.as_process(module.Process.TRANSFER), coats, surface)

    monkeypatch.setattr(module, "radiance", same)
    for group in pairs(UNSTEADY, 2):
        for bag in group:
            assert bag.alike.all() and (bag.targets == 0.5).all()
            assert bag.dial_target == 0.5 and set(bag.zone_targets.tolist()) <= {0.5, -1.0}
            assert set(bag.own.tolist()) == {bag.dial}  # what it is stays known


def test_a_zone_is_alike_when_hardly_any_of_its_patches_tells():
    zones = np.repeat([0, 1, 2], [40, 40, 10]).astype(np.int8)
    patches = np.ones(90, dtype=bool)
    patches[:2] = False  # 5 % of the first
    patches[40:43] = False  # more of the second
    assert alike_zones(zones, patches).tolist() == [True, False, True] + [True] * (len(ZONES) - 3)


def test_targets_reach_the_net_and_the_truth_does_not_change():
    hand = np.array([-1, 1, 1, -1, -1], np.int8)
    zone = np.repeat([1, 2], 10).astype(np.int8)
    density = np.zeros((20, 64, 64), np.uint8)
    same = np.arange(20) < 12
    plain = Bag(density, zone, 0.0, hand, 1, -1, 0)
    some = replace(plain, alike=same, alike_zones=np.arange(len(ZONES)) == 1)
    nothing = replace(plain, alike=np.ones(20, bool), alike_zones=np.ones(len(ZONES), bool))
    assert plain.targets.tolist() == [1.0] * 20 and plain.dial_target == 1.0
    batch = whole_batch([some, replace(nothing, index=1), replace(plain, index=2)], torch.device("cpu"))
    assert batch.strokes.tolist() == [[0.5] * 12 + [1.0] * 8, [0.5] * 20, [1.0] * 20]
    assert batch.hand.tolist() == [[-1, 0.5, 1, -1, -1], [-1, 0.5, 0.5, -1, -1], [-1, 1, 1, -1, -1]]
    assert batch.dial.tolist() == [1.0, 0.5, 1.0]
    assert nothing.dial == 1 and nothing.own.tolist() == [1] * 20 and not nothing.odd.any()
    store = BagStore(torch.device("cpu"), window=1)
    store.add([[nothing, replace(nothing, hand=np.minimum(hand, 0), dial=0)]])
    drawn = store.draw(4, 12, rng=np.random.default_rng(0))
    assert (drawn.dial == 0.5).all() and (drawn.strokes[drawn.zone >= 0] == 0.5).all()
    unread = replace(plain, dial=-1, hand=np.full(len(ZONES), -1, np.int8), alike_zones=np.ones(len(ZONES), bool))
    assert unread.dial_target == -1.0 and (unread.zone_targets == -1).all()  # what is not known stays unknown
