"""Several readings in one bag: each place from the finest photograph, once; what they say of the same places."""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
import torch
from verdicts_made import verdict

from dialtell.evaluate.one_dial.agreement import FULL, USUAL, held_to, trusted
from dialtell.evaluate.one_dial.merging import ONE_PLACE, common, merge, toned
from dialtell.model.net.in_torch import asked, tensors
from dialtell.model.net.net import NetConfig, StrokeNet
from dialtell.model.reading.fine_patches import MOST
from dialtell.model.reading.patches import SCALE, SIDE, PatchSet
from dialtell.synth.shared.terms import ZONES, Zone


def patches(centers, *, ppr: float, dark: float = 1.0, scale: int = 0, seed: int = 0) -> PatchSet:
    """Patches of bars at the given places, as a photograph of so many px per dial radius shows them."""
    centers = np.asarray(centers, float)
    n = len(centers)
    density = np.zeros((n, SIDE, SIDE), np.float32)
    rng = np.random.default_rng(seed)
    for index in range(n):
        left = int(rng.integers(10, 40))
        density[index, 8:56, left : left + 14] = dark
    return PatchSet(
        density, np.arange(n) % 2, centers, np.tile([1.0, 0.0], (n, 1)), np.full(n, 0.2), 1.0,
        math.log2(ppr / SCALE), np.full(n, scale) if scale else None,
    )  # fmt: skip


def reading(found: PatchSet, ppr: float):
    """All of a reading that merging looks at."""
    return SimpleNamespace(patches=found, sharpness=SimpleNamespace(true_pixels_per_radius=ppr))


LATTICE = np.array([(0.1 * x, 0.1 * y) for x in range(-4, 5) for y in range(-4, 5)])


def test_every_place_is_read_once_from_the_finest_photograph() -> None:
    part, corner = LATTICE[20:50], LATTICE[45:60]
    readings = [reading(patches(LATTICE, ppr=200), 200), reading(patches(part, ppr=900), 900),
                reading(patches(corner + 0.02, ppr=500), 500)]  # fmt: skip
    found = merge(readings)
    bag = found.patches
    apart = np.hypot(*(bag.center[:, None] - bag.center[None]).transpose(2, 0, 1)) + np.eye(len(bag))
    assert apart.min() > ONE_PLACE
    assert found.from_reading(1) == len(part)
    # of the third what the second does not show, of the first what neither does
    assert found.from_reading(2) == len(corner) - 5 and len(bag) == len(LATTICE)
    assert bag.each is not None
    for index, ppr in enumerate((200, 900, 500)):
        assert bag.each[found.source == index] == pytest.approx(math.log2(ppr / SCALE))
    assert bag.resolution == pytest.approx(np.median(bag.each))


def test_fine_patches_follow_their_places_and_stay_bounded() -> None:
    fine = patches(np.repeat(LATTICE[20:50], 4, axis=0) + 0.01, ppr=1400, scale=1)
    own = replace(patches(LATTICE[20:50], ppr=1400), fine=fine)
    worse = replace(patches(LATTICE, ppr=1300), fine=patches(np.repeat(LATTICE, 2, axis=0) + 0.01, ppr=1300, scale=1))
    found = merge([reading(worse, 1300), reading(own, 1400)])
    every = found.patches.joined
    assert len(found.origin) == len(every) == len(every.resolutions)
    assert found.patches.fine is not None and len(found.patches.fine) == MOST
    finer = found.origin[len(found.patches) :]
    inside = (
        np.hypot(*(every.center[len(found.patches) :, None] - LATTICE[20:50][None]).transpose(2, 0, 1)).min(1) < 0.05
    )
    assert (finer == np.where(inside, 1, 0)).all()
    assert every.resolutions == pytest.approx(np.log2(np.where(found.origin == 1, 1400, 1300) / SCALE))


def test_full_density_is_the_whole_views() -> None:
    whole = reading(patches(LATTICE, ppr=900, dark=1.0), 900)
    # a close-up of thin strokes alone takes them for full
    close = reading(patches(LATTICE[10:30], ppr=900, dark=0.5), 900)
    whole.patches.density[10:30] = patches(LATTICE[10:30], ppr=900).density
    found = toned(close, whole)
    assert np.median(found.density.max(axis=(1, 2))) == pytest.approx(1.0, abs=0.03)
    assert found.full == pytest.approx(close.patches.full * 0.5, rel=0.05)
    alone = reading(patches(LATTICE[:2] + 0.03, ppr=900, dark=0.5), 900)
    assert toned(alone, whole) is alone.patches  # nothing in common, nothing to go by
    mine, other = common(close.patches, whole.patches)
    assert (LATTICE[10:30][mine] == LATTICE[other]).all()


@pytest.fixture(scope="module")
def net():
    torch.manual_seed(1)
    return StrokeNet(NetConfig(widths=(8, 8, 8, 16), code=16, beside=16)).eval()


def test_the_net_is_told_each_patch_its_own_resolution(net) -> None:
    bag = patches(LATTICE[:20], ppr=400)
    alike = replace(bag, each=np.full(20, bag.resolution))
    assert tensors(bag)[2].shape == (1,) and tensors(alike)[2].shape == (1, 20)
    same, other = asked(net, bag), asked(net, alike)
    assert torch.allclose(same.dial, other.dial, atol=1e-5) and torch.allclose(same.zone, other.zone, atol=1e-5)
    mixed = asked(net, replace(bag, each=np.linspace(-3, 2, 20)))
    # like strokes are compared within a photograph
    assert same.reasons is not None and (same.reasons.pair_with >= 0).any()
    assert mixed.reasons is not None and (mixed.reasons.pair_with < 0).all()
    assert abs(float(mixed.dial - same.dial)) > 1e-3
    # the order in which photographs stand in a bag is no matter
    turned = asked(net, replace(bag, each=np.linspace(-3, 2, 20)).chosen(np.arange(20)[::-1].copy()))
    assert torch.allclose(mixed.dial, turned.dial, atol=1e-5)


def test_where_photographs_differ_less_is_stated() -> None:
    assert trusted([]) is None and trusted([0.9 * USUAL]) is None
    limits = [trusted([0.1, much]) for much in (USUAL * 1.01, USUAL * 2, USUAL * 4)]
    assert all(limit is not None for limit in limits) and limits == sorted(limits, reverse=True)
    assert limits[0] == pytest.approx(FULL, rel=0.02)
    held = held_to(verdict(-1.8, 1.2, -0.3), 0.8)
    assert (held.whole.log10_lr, held.whole.capped) == (-0.8, True)
    assert held.zones[Zone.SIGNATURE].log10_lr == 0.8 and held.zones[ZONES[1]].log10_lr == -0.3
    assert not held.zones[ZONES[1]].capped and held_to(held, None) is held
