"""Batches drawn for training: what is varied, and that it never tells a painted dial from its printed twin."""

from dataclasses import replace

import numpy as np
import pytest
import torch

from dialtell.model.reading.patches import LOW, SIDE
from dialtell.model.reading.sharpness import PIXEL_SIGMA
from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.shared.terms import ZONES
from dialtell.train.bags.bags import Bag
from dialtell.train.run import store
from dialtell.train.run.store import BagStore, HeldOut, blurred, unpack

CPU = torch.device("cpu")


def bag(index=0, hand=1, patches=40, density=None, resolution=0.0, zones=(0, 1, 3)):
    truth = np.full(len(ZONES), -1, np.int8)
    truth[list(zones)] = hand
    if density is None:
        density = np.random.default_rng(index).integers(0, 256, (patches, SIDE, SIDE), dtype=np.uint8)
    zone = np.sort(np.resize(np.array(zones, np.int8), len(density)))
    return Bag(density, zone, resolution, truth, hand, -1 if hand else 1, index)


def filled(groups, window=3):
    held = BagStore(CPU, window)
    held.add(groups)
    return held


def plain(monkeypatch):
    """Nothing varied, so that drawn patches are the stored ones."""
    for name in ("GAIN", "OFFSET", "NOISE", "CURVE", "SHIFT", "BLUR"):
        monkeypatch.setattr(store, name, 0)


def test_patches_come_with_their_own_zone_and_truth(monkeypatch):
    """Every patch drawn is one of its bag's, mirrored or not, in that patch's zone; none twice."""
    plain(monkeypatch)
    groups = [[bag(2 * n, 1), bag(2 * n, 0)] for n in range(4)]
    for number, group in enumerate(groups):  # patches say who they are
        for side, one in enumerate(group):
            one.density[:] = (np.arange(40) * 4 + number + 4)[:, None, None]
            one.density[:, 0] = 250 * side
    batch = filled(groups).draw(16, 30, rng=np.random.default_rng(1))
    for row in range(16):
        real = batch.zone[row] >= 0
        kept = torch.round((batch.patches[row][real][:, 30, 30] - LOW) / (unpack(torch.tensor(1)) - LOW)).long()
        numbers, places = kept % 4, (kept - 4) // 4
        assert len(set(numbers.tolist())) == 1 and len(set(places.tolist())) == len(places)
        assert batch.zone[row][real].tolist() == groups[0][0].zone[places].tolist()
        side = int(batch.patches[row][real][0, 0, 0] > 1)
        assert batch.dial[row] == 1 - side
        assert (batch.strokes[row][real] == 1 - side).all() and (batch.strokes[row][~real] == -1).all()
        assert batch.twin[row] == (row + 1 if row % 2 == 0 else row - 1)


def test_patches_may_carry_a_truth_of_their_own(monkeypatch):
    plain(monkeypatch)
    one = bag()
    one.density[:] = 6 * np.arange(40)[:, None, None]
    odd = np.where(np.arange(40) % 3 == 0, 0, 1).astype(np.int8)
    batch = filled([[replace(one, strokes=odd)]]).draw(2, 12, rng=np.random.default_rng(0))
    for row in range(2):
        real = batch.zone[row] >= 0
        place = torch.round((batch.patches[row][real][:, 5, 5] - LOW) / (unpack(torch.tensor(1)) - LOW) / 6).long()
        assert batch.strokes[row][real].tolist() == odd[place].tolist()
    whole = next(iter(HeldOut([replace(one, strokes=odd)], CPU)))
    assert whole.strokes[0].tolist() == odd.tolist()


def test_all_patches_are_used_in_time(monkeypatch):
    plain(monkeypatch)
    one = bag()
    one.density[:] = 6 * np.arange(40)[:, None, None]
    held, rng, seen = filled([[one]]), np.random.default_rng(0), set()
    for _ in range(30):
        batch = held.draw(4, 12, rng=rng)
        seen |= set(torch.round((batch.patches[batch.zone >= 0][:, 5, 5] - LOW) * 100).long().tolist())
    assert len(seen) == 40


def test_singles_have_no_twin_and_an_odd_end_stands_alone():
    held = filled([[bag(0, 1), bag(0, 0)], [bag(1, 1)]])
    for seed in range(6):
        batch = held.draw(7, 8, rng=np.random.default_rng(seed))
        for row, twin in enumerate(batch.twin.tolist()):
            assert batch.twin[twin] == row
            assert (row == twin) or {float(batch.dial[row]), float(batch.dial[twin])} == {0.0, 1.0}
    assert batch.patches.shape == (7, 8, SIDE, SIDE)


def test_more_patches_asked_for_than_there_are():
    batch = filled([[bag(patches=9)]]).draw(4, 64, rng=np.random.default_rng(0))
    assert ((batch.zone >= 0).sum(1) <= 9).all() and ((batch.zone >= 0).sum(1) >= 6).all()


def test_sharp_dials_only_if_there_are_any():
    held = filled([[bag(0, 1, resolution=0.5)], [bag(1, 0, resolution=-3.0)]])
    batch = held.draw(20, 6, rng=np.random.default_rng(0), sharp=True)
    assert (batch.dial == 1).all()
    blurry = filled([[bag(1, 0, resolution=-3.0)]])
    assert (blurry.draw(4, 6, rng=np.random.default_rng(0), sharp=True).dial == 0).all()


def test_what_varies_is_alike_for_twins(monkeypatch):
    """Shifts, blur, gain and offset, seen on one steep edge: twins that hold the same patches look the same."""
    monkeypatch.setattr(store, "NOISE", 0)
    edge = np.full((12, SIDE, SIDE), 23, np.uint8)
    edge[:, :, 30:] = 140
    held = filled([[bag(0, 1, density=edge, zones=(1,)), bag(0, 0, density=edge, zones=(1,))]])
    batch = held.draw(60, 6, rng=np.random.default_rng(3))
    looks = batch.patches[:, 0].reshape(30, 2, SIDE, SIDE)
    assert torch.equal(looks[:, 0], looks[:, 1]) and torch.equal(batch.resolution[::2], batch.resolution[1::2])
    assert len({tuple(np.round(look[0, 0].numpy().ravel(), 4)) for look in looks}) > 25


def test_blur_adds_the_variance_it_says():
    """Of a line: second moment about its middle, in px^2."""
    line = torch.zeros(4, 1, SIDE, SIDE)
    line[..., 32] = 1.0
    variance = torch.tensor([0.0, 0.4, 1.0, 2.0])
    profile = blurred(line, variance)[:, 0, 20]
    place = torch.arange(SIDE) - 32.0
    assert torch.allclose(profile.sum(1), torch.ones(4), atol=1e-5)
    assert torch.allclose((profile * place**2).sum(1), variance, atol=1e-5)


def test_a_blurred_dial_is_told_to_be_so():
    """A sharp dial blurred by 1 px: sigma 0.5 becomes hypot(0.5, 1)."""
    held = filled([[bag(0, resolution=0.0)]])
    drawn = held.draw(400, 6, rng=np.random.default_rng(5)).resolution
    assert float((drawn == 0).float().mean()) == pytest.approx(1 - store.BLURRED, abs=0.08)
    assert drawn.min() >= np.log2(PIXEL_SIGMA / np.hypot(PIXEL_SIGMA, store.BLUR)) - 1e-5 and drawn.max() <= 1e-6


def test_nothing_to_draw():
    with pytest.raises(ParameterError, match="no picture drawn could be read"):
        BagStore(CPU, 2).draw(4, 8, rng=np.random.default_rng(0))
    with pytest.raises(ParameterError, match="no picture drawn could be read"):
        filled([[], []]).draw(4, 8, rng=np.random.default_rng(0))


def test_held_out_bags_come_whole_and_in_order():
    bags = [bag(n, n % 2, patches=10 + n) for n in range(5)]
    batches = list(HeldOut(bags, CPU, 2))
    assert [len(batch.dial) for batch in batches] == [2, 2, 1]
    rows = [(batch, row) for batch in batches for row in range(len(batch.dial))]
    for one, (batch, row) in zip(bags, rows, strict=True):
        real = batch.zone[row] >= 0
        assert torch.equal(batch.patches[row][real], unpack(torch.from_numpy(one.density)))
        assert batch.dial[row] == one.dial and batch.twin[row] == row


def test_what_was_planted_is_always_drawn(monkeypatch):
    """Three odd patches of forty, twelve drawn: all three are among them, whichever truth is the fewer."""
    plain(monkeypatch)
    for name in ("WITHOUT_ZONE", "WITH_FEW"):
        monkeypatch.setattr(store, name, 0)
    for guest in (0, 1):
        truth = np.where(np.arange(40) % 14 == 3, guest, 1 - guest).astype(np.int8)
        one = replace(bag(), strokes=truth)
        assert one.odd.sum() == 3 and not bag().odd.any()
        batch = filled([[one]]).draw(20, 12, rng=np.random.default_rng(0))
        assert ((batch.strokes == guest).sum(1) == 3).all()


def test_a_group_by_two_cameras_knows_its_twins_and_itself_again():
    """Four rows: painted, printed, and both by another camera; a group cut short at the end of the batch keeps what is
    left of it."""
    group = [bag(0, 1), bag(0, 0), bag(0, 1), bag(0, 0)]
    batch = filled([group]).draw(10, 12, rng=np.random.default_rng(0))
    assert batch.twin.tolist() == [1, 0, 3, 2, 5, 4, 7, 6, 9, 8]
    assert batch.again.tolist() == [2, 3, 0, 1, 6, 7, 4, 5, 8, 9]
    assert batch.dial.tolist() == [1.0, 0.0] * 5


def test_blur_is_one_on_the_dial_whatever_the_scale(monkeypatch):
    """Patches of twice the scale are blurred by twice as many of their px, and the finest by BLUR at most."""
    plain(monkeypatch)
    monkeypatch.setattr(store, "BLUR", 1.0)
    line = torch.zeros((1, 2, SIDE, SIDE), dtype=torch.uint8)
    line[..., 32] = 100
    vary = torch.tensor([[1.0, 0.5, 0.5, 0.0, 0.5]])
    scale = torch.tensor([[0.0, 1.0]])
    density, resolution = store.varied(line, torch.zeros(line.shape), vary, torch.tensor([1.0]), scale, torch.ones(1))
    profile = density[0, :, 30] - density[0, :, :1, 0]
    place = torch.arange(SIDE) - 32.0
    variance = (profile * place**2).sum(1) / profile.sum(1)
    assert variance[1] == pytest.approx(1.0, abs=0.05) and variance[0] == pytest.approx(0.25, abs=0.02)
    sigma = float(np.hypot(PIXEL_SIGMA / 2, 0.5))
    assert float(resolution) == pytest.approx(np.log2(PIXEL_SIGMA / sigma), abs=0.01)


def of_kinds(*kinds):
    """A bag of (zone, scale, number of patches), each patch as dark as its place."""
    zone, scale = (np.concatenate([np.full(kind[2], kind[which], np.int8) for kind in kinds]) for which in (0, 1))
    density = np.repeat(np.arange(len(zone), dtype=np.uint8), SIDE * SIDE).reshape(-1, SIDE, SIDE)
    return replace(bag(density=density, zones=(0, 1, 3)), zone=zone, scale=scale)


def test_every_scale_is_drawn_and_like_strokes_together(monkeypatch):
    """Of a bag with few fine patches each scale has a quarter of an even share at least, of one zone; where kinds are
    drawn fully, what is drawn of a kind is a run of it."""
    plain(monkeypatch)
    for name in ("WITHOUT_ZONE", "WITH_FEW"):
        monkeypatch.setattr(store, name, 0)
    one = of_kinds((0, 0, 60), (1, 0, 60), (3, 0, 40), (0, 1, 8), (1, 1, 8), (1, 2, 9))
    for fully in (0.0, 1.0):
        monkeypatch.setattr(store, "FULLY", fully)
        held, zones = filled([[one]]), []
        for seed in range(3):
            batch = held.draw(20, 36, rng=np.random.default_rng(seed))
            for row in range(20):
                for scale in range(3):
                    assert (batch.scale[row] == scale).sum() >= 3
                level = batch.scale[row] == 0
                zones.append(len(batch.zone[row][level].unique()))
                if fully and zones[-1] == 1:
                    flat = batch.patches[row][level][:, 30, 30]
                    place = torch.round((flat - LOW) / (unpack(torch.tensor(1)) - LOW)).long()
                    first = {0: 0, 1: 60, 3: 120}[int(batch.zone[row][level][0])]
                    size = 40 if first == 120 else 60
                    turned = np.sort((place.numpy() - first) % size)
                    assert (np.diff(turned) > 1).sum() <= 1  # at most where the run goes on from the beginning
        assert np.mean(zones) < 1.8 if fully else np.mean(zones) > 2.8


def test_twins_are_shown_the_same_zones():
    held = filled([[bag(n, 1, patches=150), bag(n, 0, patches=150)] for n in range(3)])
    batch = held.draw(40, 20, rng=np.random.default_rng(0))
    shown = [frozenset(row[row >= 0].tolist()) for row in batch.zone]
    alike = [one == other for one, other in zip(shown[::2], shown[1::2], strict=True)]
    assert np.mean(alike) > 0.9 and len(set(shown)) >= 4
