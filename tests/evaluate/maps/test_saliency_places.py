"""Places judged by themselves: from their own neighbourhood and zone alone, by the net's own pooling."""

from types import SimpleNamespace

import numpy as np
import pytest
import torch

from dialtell.evaluate.maps.place_map import (
    INK,
    MOST,
    REACH,
    SHIFTS,
    Judge,
    Places,
    _shifted,
    against_zone,
    contributed,
    on_ink,
)
from dialtell.model.net.explanation import Explanation
from dialtell.model.net.verdict import tensors
from dialtell.model.net.weights_file import load_weights
from dialtell.model.reading.geometry import DialGeometry
from dialtell.model.reading.patches import SCALE, SIDE, SPAN, PatchSet


def reading(seed=2, count=8):
    """A ring of strokes on a dial 640 px in radius, patches cut on the strokes."""
    rng = np.random.default_rng(seed)
    side = round(2.2 * SCALE)
    photo = np.zeros((side, side), np.float32)
    turn = np.arange(count) * 2 * np.pi / count
    center = 0.6 * np.stack([np.sin(turn), -np.cos(turn)], axis=1)
    geometry = DialGeometry((0.5 * side, 0.5 * side), (SCALE, SCALE))
    for x, y in geometry.to_photo(center).round().astype(int):
        photo[y - 20 : y + 20, x - 4 : x + 4] = rng.uniform(0.6, 1.0, (40, 8))
    right = np.tile([1.0, 0.0], (count, 1))
    empty = PatchSet(np.zeros((count, SIDE, SIDE), np.float32), np.ones(count, np.int64), center, right,
                     np.full(count, 0.1), 1.0, 0.0)  # fmt: skip
    top = np.floor(geometry.to_photo(center) - SIDE / 2).astype(int)
    density = np.stack([photo[y : y + SIDE, x : x + SIDE] for x, y in top])
    patches = PatchSet(density, empty.zone, center, right, empty.ink, 1.0, 0.0)
    return SimpleNamespace(patches=patches, density=photo, geometry=geometry)


@pytest.fixture(scope="module")
def weights():
    return load_weights(None)


def test_a_place_is_judged_from_its_neighbourhood_alone(weights):
    """Other strokes far away change nothing; a lone place is what the net says of its own patches."""
    one, other = reading(2), reading(2)
    far = one.patches.center[0] @ one.patches.center.T < 0.2  # away from the first
    other.density[:] = other.density * 1.0
    x, y = other.geometry.to_photo(other.patches.center[4:5])[0].round().astype(int)
    other.density[y - 30 : y + 30, x - 30 : x + 30] = 0.0
    other.patches.density[4] = 0.0
    first, second = Judge(one, weights).alone(), Judge(other, weights).alone()
    assert far[4]
    assert first.logit[0] == pytest.approx(second.logit[0], abs=1e-4)
    assert abs(first.logit[4] - second.logit[4]) > 1e-3
    assert (first.patches == 5).all()  # five cuts of one place, none of its neighbours
    assert SPAN * 0.25 * 2**0.5 < REACH and len(first.logit) <= MOST


def test_one_place_is_the_nets_own_logit_of_its_patches(weights):
    from dialtell.evaluate.maps.place_map import SHIFTS, _shifted

    given = reading(5, count=1)
    cut = [given.patches, *(_shifted(given, *shift) for shift in SHIFTS[1:])]
    bag = torch.cat([tensors(p)[0] for p in cut], dim=1)
    zone = torch.cat([tensors(p)[1] for p in cut], dim=1)
    with torch.inference_mode():
        expected = float(weights.net.eval()(bag, zone, torch.tensor([0.0])).dial[0])
    assert Judge(given, weights).alone().logit[0] == pytest.approx(expected, abs=1e-3)


def test_shifted_patches_show_the_same_strokes_moved():
    from dialtell.evaluate.maps.place_map import _shifted

    given = reading(3)
    still, moved = _shifted(given, 0.0, 0.0), _shifted(given, 0.25, -0.25)
    step = SIDE // 4
    here, there = still.density[:, : SIDE - step, step:], moved.density[:, step:, : SIDE - step]
    assert here.max() > 0.5
    np.testing.assert_allclose(there, here, atol=0.02)


def test_the_map_is_signed_and_lies_on_ink(weights):
    given = reading(4)
    logit = np.where(np.arange(8) < 4, 3.0, -2.0)
    values = on_ink(Places(given.patches.center, logit, np.full(8, 5)), given.patches)
    bare = given.patches.density <= INK[0]
    assert not values[bare].any()
    assert (values[1:3] >= 0).all() and (values[5:7] <= 0).all()
    assert values[1].max() == pytest.approx(3.0 * given.patches.density[1].max(), rel=0.05)


def test_patches_beside_their_dial_are_the_nets_own(weights):
    """Every cut is judged as the net judges a bag of them all; against its dial the mean is nothing."""
    one = reading(3)
    judge = Judge(one, weights)
    places = judge.beside()
    count = len(one.patches)
    assert len(places.logit) == 5 * count == len(places.center)
    assert np.allclose(places.center[:count], one.patches.center)
    cuts = [one.patches, *(_shifted(one, across, down) for across, down in SHIFTS[1:])]
    bag = torch.cat([tensors(cut)[0] for cut in cuts], dim=1)
    zone = torch.cat([tensors(cut)[1] for cut in cuts], dim=1)
    with torch.inference_mode():
        own = weights.net(bag, zone, torch.tensor([float(one.patches.resolution)])).patch[0].numpy()
    assert np.allclose(places.logit, own, atol=1e-3)
    against = judge.unlike()
    assert against.logit.mean() == pytest.approx(0.0, abs=1e-9)
    assert np.allclose(np.diff(against.logit), np.diff(places.logit))


def test_the_map_of_an_explanation_is_its_sum_and_cannot_contradict_it():
    """Contributions of one sign give a map of that sign; against its zone the odd one alone stands out."""
    given = reading(4)
    added = np.full(8, 0.05)
    added[3] = 0.02
    told = Explanation(0.1, given.patches.zone, given.patches.center, added, np.array([[0, 1]]), np.array([0.04]))
    places = contributed(told)
    assert places.logit.sum() + told.base == pytest.approx(told.total)
    assert places.logit[:2] == pytest.approx(0.07)
    values = on_ink(places, given.patches)
    assert (values >= 0).all() and values.any()
    odd = against_zone(told)
    assert odd.logit.argmin() == 3 and odd.logit.sum() == pytest.approx(0.0, abs=1e-9)
