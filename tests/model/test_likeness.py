"""How alike strokes are: shifted copies alike down to the noise, others not, however the pairs are gone through."""

import math

import numpy as np
import pytest
import torch

from dialtell.model.net import alike
from dialtell.model.net.likeness import LOOK, _softened, compared, looked
from dialtell.model.reading.patches import SIDE


def strokes(shifts, widths, noise=0.01, seed=0):
    """Upright strokes, soft-edged, on bare enamel: (N, SIDE, SIDE)."""
    rng = np.random.default_rng(seed)
    x = np.arange(SIDE) - SIDE / 2 + 0.5
    made = []
    for shift, width in zip(shifts, widths, strict=True):
        across = 1 / (1 + np.exp((np.abs(x - shift) - width / 2) / 0.8))
        along = 1 / (1 + np.exp((np.abs(x) - 18) / 0.8))
        made.append(along[:, None] * across[None] + noise * rng.standard_normal((SIDE, SIDE)))
    return torch.tensor(np.array(made), dtype=torch.float32)


def likeness(patches, most=2):
    count = len(patches)
    return compared(looked(patches)[None], torch.zeros(1, count, dtype=torch.long), torch.zeros(1, count), most)


def test_shifted_copies_are_alike_down_to_the_noise_and_others_are_not():
    same = likeness(strokes([0.0, 1.3, -1.6, 2.1], [8.0] * 4))
    unlike = likeness(strokes([0.0, 1.3, -1.6, 2.1], [5.0, 7.0, 9.0, 11.0]))
    assert same.alike.min() > 0.99 > unlike.alike.mean()
    over = (same.residual - same.floor[:, None, None]).max()
    assert over < 3.0 < (unlike.residual - unlike.floor[:, None, None]).min()


def test_the_floor_is_the_photographs_noise():
    bare, some, much = (float(likeness(strokes([0.0] * 5, [8.0] * 5, noise)).floor) for noise in (0.0, 0.04, 0.08))
    assert much - some == pytest.approx(math.log(2), abs=0.08) and bare < some - 0.5
    # what two patches of that noise do differ by on bare enamel
    looks = _softened(looked(strokes([0.0] * 2, [8.0] * 2, 0.08)).unflatten(1, (LOOK, LOOK))[None])[0, :, :, :8]
    assert much == pytest.approx(float((looks[0] - looks[1]).square().mean().sqrt().log()), abs=0.25)


def test_only_whole_patches_tell_the_noise():
    """Around a single shape what others show is left out, and its noise with it."""
    patches = strokes([0.0] * 6, [8.0] * 6, 0.08)
    patches[2:] = torch.where(patches[2:] > 0.3, patches[2:], 0.0)
    looks, zone = looked(patches)[None], torch.zeros(1, 6, dtype=torch.long)
    whole = torch.arange(6)[None] < 2
    told, all_of_them = (float(compared(looks, zone, whole.float(), 2, whole=w).floor) for w in (whole, None))
    own = float(likeness(patches[:2]).floor)
    assert told == pytest.approx(own, abs=1e-4) and all_of_them < own - 0.5


def test_the_nearest_are_found():
    found = likeness(strokes([0.0, 0.5, 0.0, 0.5], [5.0, 5.0, 11.0, 11.0]), most=1).beside[0, :, 0]
    assert found.tolist() == [1, 0, 3, 2]


def test_bags_of_one_patch_have_no_pair():
    found = likeness(torch.zeros(1, SIDE, SIDE))
    assert found.beside.tolist() == [[[-1]]] and LOOK * 2 == SIDE
    assert torch.isfinite(found.residual).all() and torch.isfinite(found.floor).all()


def test_zone_by_zone_in_numpy_says_the_same_as_all_at_once():
    torch.manual_seed(5)
    zone, scale = torch.randint(-1, 4, (3, 40)), torch.randint(0, 3, (3, 40)).float()
    zone[2] = -1
    patches = strokes(torch.randn(120).tolist(), torch.linspace(4, 12, 120).tolist(), 0.05)
    looks, whole = looked(patches).unflatten(0, (3, 40)), torch.rand(3, 40) < 0.7
    one = compared(looks, zone, scale, 4, whole=whole)
    assert 0.3 < (one.beside >= 0).float().mean() < 0.6
    np.testing.assert_allclose(alike.looked(patches.numpy()).reshape(looks.shape), looks, atol=1e-6)
    for row in range(3):
        given = (each[row].numpy() for each in (looks, zone, scale))
        other = alike.compared(*given, 4, whole=whole[row].numpy())
        assert (other.beside == one.beside[row].numpy()).all()
        assert other.floor == pytest.approx(float(one.floor[row]), abs=1e-5)
        real = other.beside >= 0
        for name in ("alike", "residual"):
            mine, theirs = getattr(other, name), getattr(one, name)[row].numpy()
            np.testing.assert_allclose(mine[real], theirs[real], rtol=1e-4, atol=1e-4)


def test_a_dial_of_one_patch_or_of_none_has_no_pair():
    for count in (0, 1):
        found = alike.compared(np.zeros((count, LOOK**2), np.float32), np.zeros(count, int), np.zeros(count), 4)
        assert found.beside.shape == (count, count) and (found.beside == -1).all() and np.isfinite(found.floor)
