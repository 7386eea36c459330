"""Bags: twins differ in their strokes alone, truth is of what the design holds, the known outline is the true one."""

from dataclasses import replace

import numpy as np
import pytest
import torch

from dialtell.model.reading import steps
from dialtell.model.reading.figure_patches import MOST
from dialtell.model.reading.outline import LEAST_OUTLINE
from dialtell.model.reading.patches import HIGH, LOW, SIDE
from dialtell.model.reading.steps import read_at
from dialtell.model.reading.zones import find_zones
from dialtell.synth.photograph.view import homography, to_px
from dialtell.synth.planting import Plant
from dialtell.synth.scene import Range, render, sample_spec
from dialtell.synth.shared.terms import ZONES, Process, Zone
from dialtell.synth.truth import outline, paint_of
from dialtell.train.bags.bags import (
    BOTH_PRINTS,
    FEWEST_PATCHES,
    MOST_PER_ZONE,
    Bag,
    bag_of,
    known_geometry,
    other_camera,
    outline_seen,
    pack,
    photo_of,
    planted_bag,
    single_bag,
    twin_bags,
    twin_processes,
)
from dialtell.train.run.store import BagStore, unpack, whole_batch

SCOPE = Range(pixels_per_radius=(300.0, 400.0), wear=(0.0, 0.3))
CLOSE = Range(pixels_per_radius=(500.0, 700.0), part=1.0, max_side=900, wear=(0.0, 0.2))
MIXED = Range(pixels_per_radius=(250.0, 300.0), mixed=1.0)
CPU = torch.device("cpu")


@pytest.fixture(scope="module")
def twins():
    found = (twin_bags(5, index, SCOPE) for index in range(14))
    return [group for group in found if [bag.dial for bag in group] == [1, 0]][:6]


def test_twins_are_one_painted_and_one_printed(twins):
    for bags in twins:
        assert [bag.dial for bag in bags] == [1, 0] and len({bag.index for bag in bags}) == 1
        assert bags[0].photographic == -1 and bags[1].photographic in (0, 1)
        assert (bags[0].hand >= 0).tolist() == (bags[1].hand >= 0).tolist()
    assert {bags[1].photographic for bags in twins} == {0, 1}


def test_some_pictures_are_printed_both_ways_and_some_hold_one_odd_figure():
    pairs = [twin_processes(np.random.default_rng(n)) for n in range(400)]
    share = np.mean([Process.HAND not in pair for pair in pairs])
    assert share == pytest.approx(BOTH_PRINTS, abs=0.06)
    assert all(first is not second for first, second in pairs)


@pytest.mark.parametrize("what", [Plant.PAINTED_FIGURE, Plant.PRINTED_FIGURE])
def test_one_odd_figure_has_its_own_truth(what, monkeypatch):
    """The patches named odd are those that change when the figure is laid as the rest is; few, and in the numerals.

    Both pictures are cut where the zones of the first lie: what is seen of the odd figure may widen its ring.
    """
    maps = []

    def same_zones(*args):
        maps.append(find_zones(*args))
        return maps[0]

    monkeypatch.setattr(steps, "find_zones", same_zones)
    guest = int(what is Plant.PAINTED_FIGURE)
    for index in range(8):
        spec = sample_spec(31, index, SCOPE)
        maps.clear()
        odd = planted_bag(spec, what, rng=np.random.default_rng(index))
        if odd is None or not (odd.own == guest).any():
            continue
        plain = bag_of(spec.as_process(Process.TRANSFER if guest else Process.HAND))
        assert odd.dial == -1 and odd.hand[ZONES.index(Zone.NUMERALS)] == -1
        assert 1 <= (odd.own == guest).sum() <= 0.25 * len(odd.own)
        if plain is not None and len(plain.zone) == len(odd.zone):
            change = np.abs(plain.density.astype(float) - odd.density).mean(axis=(1, 2))
            assert change[odd.own == guest].min() > 0.1 and np.median(change[odd.own == 1 - guest]) < 0.5
            return
    pytest.fail("no dial of eight could be compared")


def test_twins_are_read_at_the_same_places():
    shares = []
    for index in range(4):
        spec = sample_spec(5, index, SCOPE)
        sets = []
        for process in (Process.HAND, Process.TRANSFER):
            twin = spec.as_process(process)
            geometry = known_geometry(twin, rng=np.random.default_rng(1))
            patches = read_at(photo_of(render(twin)), geometry, geometry.twelve_deg).patches
            px = geometry.to_photo(patches.center)
            sets.append((patches.zone, px, geometry))
        (zone_a, px_a, geometry), (zone_b, px_b, other) = sets
        assert geometry == other
        apart = np.linalg.norm(px_a[:, None] - px_b[None], axis=2) / geometry.pixels_per_radius
        apart[zone_a[:, None] != zone_b[None]] = 9.0
        shares.append((apart.min(axis=1) < 0.5 * SIDE / 640).mean())
    assert np.median(shares) > 0.85, shares


def test_twins_share_light_view_and_wear(twins):
    """Most of a printed and of a painted patch is the same bare enamel."""
    for painted, printed in twins:
        assert abs(painted.resolution - printed.resolution) < 0.6
        assert 0.6 < len(painted.zone) / len(printed.zone) < 1.6


@pytest.mark.parametrize("index", range(4))
def test_truth_only_of_zones_with_strokes(index):
    bag, spec = single_bag(9, index, MIXED), sample_spec(9, index, MIXED)
    for number, zone in enumerate(ZONES):
        if not len(paint_of(spec, zone).density):
            assert bag.hand[number] == -1
        else:
            assert bag.hand[number] == int(spec.making.process_of(zone) is Process.HAND)
    known = bag.hand[bag.hand >= 0]
    assert bag.dial == (known[0] if len(set(known.tolist())) == 1 else -1)


def test_mixed_dials_come_single_and_some_stay_mixed():
    found = [twin_bags(9, index, MIXED) for index in range(4)]
    assert all(len(bags) == 1 for bags in found)
    assert any(bags[0].dial == -1 for bags in found)


def test_close_ups_are_read_as_close_ups():
    """Some by their zones, some as one zone whose truth is the dial's; twins always alike."""
    named = []
    for index in range(10):
        spec = sample_spec(31, index, CLOSE)
        if outline_seen(spec) >= LEAST_OUTLINE:
            continue
        bags = twin_bags(31, index, CLOSE)
        kinds = {bool((bag.hand[: len(ZONES) - 1] >= 0).any()) for bag in bags}
        if not bags:
            continue
        assert len(kinds) == 1
        named += kinds
        if kinds == {False}:
            for bag in bags:
                assert set(bag.zone.tolist()) == {ZONES.index(Zone.OTHER)}
                assert bag.hand[ZONES.index(Zone.OTHER)] == bag.dial
                assert (bag.dial == -1) == (bag.strokes is not None)  # one with something planted has none
    assert True in named and False in named


def test_share_of_the_outline_in_the_frame():
    spec = sample_spec(21, 0, SCOPE)
    view, radius = spec.view, spec.view.px_per_mm * spec.design.radius_mm
    wide = replace(view, tilt_deg=0.0, width_px=int(3 * radius), height_px=int(3 * radius))
    middle = replace(wide, centre_x_px=1.5 * radius, centre_y_px=1.5 * radius)
    assert outline_seen(replace(spec, view=middle)) == 1.0
    assert outline_seen(replace(spec, view=replace(middle, centre_x_px=0.0))) == pytest.approx(0.5, abs=0.01)


def test_bags_depend_on_seed_and_index_alone():
    first, again = single_bag(7, 3, SCOPE), single_bag(7, 3, SCOPE)
    assert np.array_equal(first.density, again.density) and np.array_equal(first.zone, again.zone)
    assert not np.array_equal(single_bag(8, 3, SCOPE).density[:5], first.density[:5])


def test_bags_are_bounded(twins):
    for bag in (bag for bags in twins for bag in bags):
        assert bag.density.shape == (len(bag.zone), SIDE, SIDE) and bag.density.dtype == np.uint8
        lattice, single = bag.zone[bag.scales == 0], np.count_nonzero(bag.scales != np.round(bag.scales))
        assert np.bincount(lattice, minlength=len(ZONES)).max() <= MOST_PER_ZONE and len(bag.zone) >= FEWEST_PATCHES
        assert single <= MOST


def test_no_bag_of_a_dial_too_small_to_read():
    assert bag_of(sample_spec(5, 2, Range(pixels_per_radius=(12.0, 14.0)))) is None


def test_packing_keeps_density_to_half_a_step():
    density = np.linspace(LOW, HIGH, 4096, dtype=np.float32)
    back = unpack(torch.from_numpy(pack(density))).numpy()
    assert np.abs(back - density).max() <= 0.5 * (HIGH - LOW) / 255 + 1e-6


@pytest.mark.parametrize("index", range(8))
def test_known_outline_without_jitter_is_the_true_one(index):
    """Against the exact picture of the circle as a conic (truth.outline)."""
    spec = sample_spec(21, index, Range(pixels_per_radius=(200.0, 600.0), part=0.3))
    known, true = known_geometry(spec, rng=np.random.default_rng(0), jitter=0.0), outline(spec.view)
    size = known.pixels_per_radius
    assert np.hypot(*np.subtract(known.center_px, true.center_px)) < 0.001 * size
    assert np.abs(np.subtract(known.axes_px, true.axes_px)).max() < 0.001 * size
    top = to_px(homography(spec.view), np.array([0.0, -spec.design.radius_mm]))
    x, y = known.to_dial(top)
    assert abs(np.arctan2(x, -y)) < 1e-6 and np.hypot(x, y) == pytest.approx(1.0, abs=0.002)


def test_some_twins_are_photographed_by_two_cameras(monkeypatch):
    """The same dial and view, another camera: the bag is what that camera's picture alone would give."""
    monkeypatch.setattr("dialtell.train.bags.bags.TWO_CAMERAS", 1.0)
    monkeypatch.setattr("dialtell.train.bags.bags.PLANTED", 0.0)
    groups = [twin_bags(5, index, SCOPE) for index in range(4)]
    twice = [group for group in groups if len(group) == 4]
    assert twice
    for first, twin, again, twin_again in twice:
        assert [first.dial, twin.dial] == [again.dial, twin_again.dial] and first.index == again.index
        assert np.array_equal(first.hand, again.hand)
        assert len(first.zone) != len(again.zone) or not np.array_equal(first.density, again.density)
        spec, rng = sample_spec(5, first.index, SCOPE), np.random.default_rng([5, first.index, 92])
        rng.random()
        process = Process.HAND if first.dial else Process.PHOTOGRAPHIC
        alone = bag_of(replace(spec.as_process(process), camera=other_camera(spec, SCOPE, rng=rng)))
        assert alone is not None and np.array_equal(alone.density, again.density)


def test_jitter_is_a_quarter_of_a_percent():
    spec = sample_spec(21, 0, SCOPE)
    true = known_geometry(spec, rng=np.random.default_rng(0), jitter=0.0)
    off = [known_geometry(spec, rng=np.random.default_rng(seed)) for seed in range(300)]
    shift = np.array([np.subtract(one.center_px, true.center_px) for one in off]) / true.pixels_per_radius
    assert shift.std() == pytest.approx(0.0025, rel=0.15) and abs(shift.mean()) < 0.0005
    assert all(one.axes_px[0] >= one.axes_px[1] for one in off)


def test_drawn_batches_hold_twins_side_by_side(twins):
    store = BagStore(CPU, window=2)
    store.add(twins)
    torch.manual_seed(0)
    batch = store.draw(8, 24, rng=np.random.default_rng(0))
    assert batch.patches.shape == (8, 24, SIDE, SIDE) and batch.patches.min() >= LOW and batch.patches.max() <= HIGH
    assert batch.dial.tolist() == [1.0, 0.0] * 4
    assert ((batch.zone >= 0).sum(dim=1) >= 1).all() and batch.zone.max() < len(ZONES)


def test_gain_and_mirroring_are_shared_by_twins():
    """Ramps across: their mean shows the gain, the sign of their slope the mirroring."""
    ramp = np.tile(np.linspace(60, 200, SIDE).astype(np.uint8), (40, SIDE, 1))
    hand, zone = np.array([-1, 1, -1, -1, -1], np.int8), np.full(40, 1, np.int8)
    group = [Bag(ramp, zone, 0.0, hand, 1, -1, 0), Bag(ramp, zone, 0.0, np.minimum(hand, 0), 0, 1, 0)]
    store = BagStore(CPU, window=1)
    store.add([group])
    torch.manual_seed(0)
    batch = store.draw(40, 30, rng=np.random.default_rng(0))
    gain, slope = [], []
    for row in range(40):
        kept = batch.patches[row][batch.zone[row] >= 0]
        gain.append(float(kept.mean()))
        slope.append(float(kept[..., SIDE // 2 :].mean() - kept[..., : SIDE // 2].mean()))
    pairs = np.array(gain).reshape(20, 2)
    assert np.abs(np.diff(pairs)).max() < 0.003 and np.ptp(pairs[:, 0]) > 0.05
    signs = np.sign(slope).reshape(20, 2)
    assert (signs[:, 0] == signs[:, 1]).all() and len(set(signs[:, 0])) == 2


def test_window_drops_the_oldest_epoch(twins):
    store, fresh = BagStore(CPU, window=2), BagStore(CPU, window=2)
    for epoch in (twins[:2], twins[2:4], twins[4:]):
        store.add(epoch)
    for epoch in (twins[2:4], twins[4:]):
        fresh.add(epoch)
    assert len(store) == len(fresh) == 4
    batches = []
    for held in (store, fresh):
        torch.manual_seed(4)
        batches.append(held.draw(6, 20, rng=np.random.default_rng(4)))
    one, other = (vars(batch).values() for batch in batches)
    assert all(torch.equal(a, b) for a, b in zip(one, other, strict=True))


def test_whole_batch_holds_every_patch(twins):
    bags = [bag for pair in twins[:2] for bag in pair]
    batch = whole_batch(bags, CPU)
    for row, bag in enumerate(bags):
        real = batch.zone[row] >= 0
        assert torch.equal(batch.zone[row][real], torch.from_numpy(bag.zone).long())
        assert torch.equal(batch.patches[row][real], unpack(torch.from_numpy(bag.density)))
    assert batch.hand.shape == (4, len(ZONES)) and batch.hand[0, ZONES.index(Zone.NUMERALS)] == 1
