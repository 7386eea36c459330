"""Attribution of a dial's logit and of one zone's: captum agrees, the sum holds, and other zones have no say."""

import warnings
from dataclasses import replace

import numpy as np
import pytest
import torch

from dialtell.evaluate.maps.attribution import attribute, photo_map
from dialtell.model.net.verdict import tensors
from dialtell.model.net.weights_file import load_weights
from dialtell.model.reading.geometry import DialGeometry
from dialtell.model.reading.patches import SIDE, PatchSet
from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.shared.terms import ZONES, Zone


@pytest.fixture(scope="module")
def weights():
    return load_weights(None)


@pytest.fixture(scope="module")
def patches():
    rng = np.random.default_rng(2)
    count = 6
    density = np.zeros((count, SIDE, SIDE), np.float32)
    density[:, 20:30, 10:50] = rng.random((count, 10, 40))
    return PatchSet(
        density=density, zone=np.arange(count) % 2, center=np.linspace(-0.5, 0.5, 2 * count).reshape(count, 2),
        right=np.tile([1.0, 0.0], (count, 1)), ink=np.full(count, 0.1), full=1.0, resolution=0.0,
    )  # fmt: skip


@pytest.mark.parametrize("part", [None, Zone.NUMERALS])
def test_captum_attributes_alike(part, patches, weights):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # captum's imports
        from captum.attr import IntegratedGradients

    bag, zone, resolution = tensors(patches)
    net = weights.net.eval()

    def logit(points):
        rows = len(points)  # captum asks for many points of the path at once
        out = net(points, zone.expand(rows, -1), resolution.expand(rows))
        return out.dial if part is None else out.zone[:, ZONES.index(part)]

    expected = IntegratedGradients(logit).attribute(bag, n_steps=8, internal_batch_size=8)[0].detach().numpy()
    own = attribute(patches, weights, part, nodes=(8,))
    assert np.abs(expected).max() > 0
    np.testing.assert_allclose(own.values, expected, atol=2e-3 * np.abs(expected).max())


def test_the_sum_is_the_change_of_the_logit_and_its_error_is_told(patches, weights):
    found = attribute(patches, weights, nodes=(48,))
    change = found.logit - found.baseline
    assert abs(float(found.values.astype(np.float64).sum()) - change) == pytest.approx(found.error, abs=1e-3)
    assert found.relative_error < 0.1
    assert "48 steps" in found.words()


def test_a_zones_map_is_nothing_elsewhere(patches, weights):
    zone = ZONES[1]
    found = attribute(patches, weights, zone, nodes=(4,))
    assert np.abs(found.values[patches.zone == 1]).max() > 0 and not found.values[patches.zone != 1].any()
    bag, label, resolution = tensors(patches)
    with torch.inference_mode():
        whole = weights.net.eval()(bag, label, resolution)
    assert found.logit == pytest.approx(float(whole.zone[0, 1]), abs=1e-4)
    with pytest.raises(ParameterError, match="has no patches"):
        attribute(patches, weights, Zone.SECONDS_BIT if 3 not in patches.zone else Zone.OTHER)


def test_pages_paint_the_places_where_they_are_given(patches, weights):
    geometry = DialGeometry((100.0, 100.0), (90.0, 90.0))
    plain = attribute(patches, weights, nodes=(2,))
    given = replace(plain, places=-2 * plain.values)
    before, after = (photo_map(a.painted, patches, geometry, (200, 200)) for a in (plain, given))
    assert np.abs(before).max() > 0
    np.testing.assert_allclose(after, -2 * before, atol=1e-6)
    assert "judged by itself" in given.words() and "judged by itself" not in plain.words()
