"""The map is the call: its shares sum to the ratio, zone by zone of the zone's sign, and it lies on ink."""

from types import SimpleNamespace

import numpy as np
import pytest
from verdicts_made import patches

from dialtell.evaluate.maps.place_map import INK, PLANE, Places, against_like, contributed, laid_out, maps_of, on_ink
from dialtell.model.net.explanation import Explanation
from dialtell.model.net.verdict import judge
from dialtell.model.net.weights_file import load_weights
from dialtell.model.reading.geometry import DialGeometry
from dialtell.model.reading.patches import SCALE, SIDE, SPAN, PatchSet
from dialtell.synth.shared.terms import ZONES


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
    top = np.floor(geometry.to_photo(center) - SIDE / 2).astype(int)
    density = np.stack([photo[y : y + SIDE, x : x + SIDE] for x, y in top])
    found = PatchSet(density, np.ones(count, np.int64), center, right, np.full(count, 0.1), 1.0, 0.0)
    return SimpleNamespace(patches=found, density=photo, geometry=geometry)


def explained(added, pair=((0, 1),), pairs=(0.04,), base=0.1):
    own = reading().patches
    return Explanation(base, own.zone, own.center, np.asarray(added), np.array(pair), np.array(pairs))


def test_the_map_laid_out_sums_to_what_the_places_add():
    rng = np.random.default_rng(1)
    center = rng.uniform(-0.68, 0.68, (200, 2))
    added = rng.normal(0.01, 0.05, 200)
    plane = laid_out(Places(center, added)).astype(np.float64)
    assert plane.sum() / (SPAN * PLANE) ** 2 == pytest.approx(added.sum(), abs=1e-4)
    few = Places(center[:40], added[:40])
    assert laid_out(few).astype(np.float64).sum() / (SPAN * PLANE) ** 2 == pytest.approx(added[:40].sum(), abs=1e-4)


def test_the_map_is_signed_and_lies_on_ink():
    given = reading(4)
    added = np.where(np.arange(8) < 4, 0.3, -0.2)
    values = on_ink(Places(given.patches.center, added), given.patches)
    bare = given.patches.density <= INK[0]
    assert not values[bare].any()
    assert (values[1:3] >= 0).all() and values[1:3].any() and (values[5:7] <= 0).all() and values[5:7].any()
    # at their middles far places do not hear of one another: 0.3 against 0.2, on equal ink
    middle = slice(SIDE // 2 - 2, SIDE // 2 + 2)
    one, other = (np.median(values[at, middle, middle] / given.patches.density[at, middle, middle]) for at in (2, 6))
    assert one / other == pytest.approx(-1.5, rel=0.02)


def test_the_map_of_an_explanation_is_its_sum_and_the_odd_one_stands_out_from_its_like():
    added = np.full(8, 0.05)
    added[3] = 0.02
    told = explained(added)
    places = contributed(told)
    assert places.added.sum() + told.base == pytest.approx(told.total)
    assert places.added[:2] == pytest.approx(0.07)
    values = maps_of(told, reading().patches)
    assert (values.places >= 0).all() and values.places.any()
    odd = against_like(told, np.zeros(8, np.int64))
    assert odd.added.argmin() == 3 and odd.added.sum() == pytest.approx(0.0, abs=1e-9)
    # patches of another scale are no like ones
    apart = against_like(explained(added, pairs=(0.0,)), np.arange(8) // 4)
    assert apart.added[4:] == pytest.approx(0.0) and apart.added[3] == pytest.approx(-0.0225)


@pytest.mark.parametrize("level", [1.5, 0.0, -2.0])
@pytest.mark.parametrize("offset", [-1.1, 0.0, 0.7])
def test_no_zone_has_a_map_of_the_other_side(make_weights, level, offset):
    """What a zone's places add to the dial has the sign of that zone's own ratio less where zones start; whatever the
    net: this one is untrained."""
    weights = load_weights(make_weights(offset, -offset))
    verdict = judge(patches(7, 20, 9, 5, 4, resolution=level), weights)
    told = verdict.explanation
    assert set(told.zones) == set(ZONES[:5])
    sums = np.bincount(told.zone, weights=contributed(told).added)
    for zone, share in told.zones.items():
        assert share.contribution == pytest.approx(sums[ZONES.index(zone)], abs=1e-6)
        assert share.total == pytest.approx(verdict.zones[zone].log10_lr, abs=1e-4)
        assert abs(share.contribution) > 1e-6 and share.contribution * (share.total - share.base) > 0
    assert told.base + sum(share.contribution for share in told.zones.values()) == pytest.approx(told.total, abs=1e-6)
    assert told.total == pytest.approx(verdict.whole.log10_lr, abs=1e-4)
