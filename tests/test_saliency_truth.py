"""The yardsticks for maps: exact on cases made for them; fast occlusion equals the plain form."""

import numpy as np
import pytest
import torch

from dialtell.evaluate.occlusion_map import occlusion_map
from dialtell.evaluate.saliency import occlusion
from dialtell.evaluate.saliency_truth import enrichment, points_at
from dialtell.evaluate.verdict import tensors
from dialtell.model.patches import SIDE, PatchSet
from dialtell.model.store import load_weights


def bag(count=5):
    rng = np.random.default_rng(2)
    density = np.zeros((count, SIDE, SIDE), np.float32)
    density[:, 20:44, 10:50] = rng.random((count, 24, 40))
    return PatchSet(
        density=density, zone=np.arange(count) % 2, center=np.zeros((count, 2)), right=np.tile([1.0, 0.0], (count, 1)),
        ink=np.full(count, 0.2), full=1.0, resolution=0.0,
    )  # fmt: skip


def test_energy_in_the_mask_over_its_share_of_area():
    values = np.zeros((1, 10, 10), np.float32)
    inside = np.zeros((1, 10, 10), bool)
    inside[0, :2, :5] = True
    values[0, :2, :5] = 3.0
    assert enrichment(values, inside) == pytest.approx(10.0)
    assert enrichment(np.ones_like(values), inside) == pytest.approx(1.0)
    assert enrichment(-values, inside) == 0.0


def test_a_pointer_hits_within_its_reach_and_only_there():
    inside = np.zeros((2, 64, 64), bool)
    inside[1, 30:34, 30:34] = True
    for (patch, row, column), hit in {
        (1, 32, 32): True,
        (1, 26, 31): True,
        (1, 20, 31): False,
        (0, 32, 32): False,
    }.items():
        values = np.zeros((2, 64, 64), np.float32)
        values[patch, row, column] = 1.0
        assert points_at(values, inside) is hit


def test_fast_occlusion_is_the_plain_one():
    weights, patches = load_weights(None), bag()
    density, zone, resolution = tensors(patches)
    net = weights.net.eval()

    def score(points):
        return net(points[:, 0][None], zone, resolution).dial

    plain = occlusion(score, density[0][:, None], window=16, stride=16)[:, 0].numpy()
    np.testing.assert_allclose(occlusion_map(patches, weights), plain, atol=2e-4)
    assert torch.is_grad_enabled()
