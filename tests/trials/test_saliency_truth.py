"""The yardsticks for maps: exact on cases made for them; fast occlusion equals the plain form, and keeps its sum."""

import warnings

import numpy as np
import pytest
import torch
from trials.maps.occlusion_map import occlusion_map
from trials.maps.saliency_truth import (
    MapResult,
    enrichment,
    main,
    median_interval,
    on_dial,
    points_at,
    randomised,
    table,
)

from dialtell.model.net.in_torch import tensors
from dialtell.model.net.weights_file import load_weights
from dialtell.model.reading.patches import SIDE, PatchSet


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


def test_only_what_was_seen_counts():
    """Energy and area off the patches are no part of either share."""
    values, inside, seen = np.ones((10, 10), np.float32), np.zeros((10, 10), bool), np.zeros((10, 10), bool)
    seen[:, :5], inside[:5, :5] = True, True
    values[:5, :5], values[:, 5:] = 3.0, 100.0
    assert enrichment(values, inside, seen) == pytest.approx(1.5)


def test_a_pointer_hits_within_its_reach_and_only_there():
    inside = np.zeros((64, 64), bool)
    inside[30:34, 30:34] = True
    for (row, column), hit in {(32, 32): True, (28, 31): True, (26, 31): False, (5, 60): False}.items():
        values = np.zeros((64, 64), np.float32)
        values[row, column] = 1.0
        assert points_at(values, inside) is hit
    assert not points_at(np.zeros((64, 64), np.float32), inside)


def test_a_patch_lands_on_the_dial_where_it_was_cut():
    patches = bag(1)
    painted = on_dial(np.ones((1, SIDE, SIDE), np.float32), patches)
    rows, columns = np.nonzero(painted > 0.5)
    middle = 0.5 * (len(painted) - 1)  # the patch is cut about the dial's centre
    assert rows.mean() == pytest.approx(middle, abs=0.6) and columns.mean() == pytest.approx(middle, abs=0.6)
    assert np.ptp(rows) == pytest.approx(32, abs=2)  # 64 px at 640 px per radius are 32 px at 320


def test_weights_drawn_afresh_leave_the_callers_random_numbers_alone():
    weights = load_weights(None)
    torch.manual_seed(4)
    expected = torch.rand(3)
    torch.manual_seed(4)
    other = randomised(weights, seed=1)
    assert torch.equal(torch.rand(3), expected)
    before, after = (next(w.net.encoder.parameters()) for w in (weights, other))
    assert not torch.equal(before, after)
    assert torch.equal(after, next(randomised(weights, seed=1).net.encoder.parameters()))


def test_the_interval_of_a_median_holds_it_and_narrows():
    rng = np.random.default_rng(3)
    middle, low, high = median_interval(rng.normal(5.0, 1.0, 400).tolist())
    assert low <= middle <= high and high - low < 0.6 and low < 5.0 + 0.2 and high > 5.0 - 0.2
    few = median_interval(rng.normal(5.0, 1.0, 8).tolist())
    assert few[2] - few[1] > high - low


def test_the_table_sets_each_map_beside_the_edges_of_the_same_dial():
    kind = "one painted figure on a printed dial"
    found = [
        MapResult(kind, index, name, rich, hit, hit, True, -3.0)
        for index, pair in enumerate([(8.0, 2.0), (9.0, 3.0), (1.0, 1.0)])
        for name, rich, hit in (("places", pair[0], index == 0), ("edges", pair[1], False))
    ]
    places, edge = table(found)
    assert places["map"] == "places" and places["n"] == 3 and places["over_edges"] == 3.0
    assert places["enrichment"][0] == 8.0 and places["hit_rate"][0] == pytest.approx(1 / 3, abs=1e-3)
    assert edge["over_edges"] == 1.0 and edge["right_sign"] is None


def test_unknown_maps_are_named(capsys):
    with pytest.raises(SystemExit) as stopped:
        main(["--maps", "places,tea leaves"])
    assert stopped.value.code == 2 and "occlusion" in capsys.readouterr().err


def test_fast_occlusion_is_captums(make_weights):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # captum's imports
        from captum.attr import Occlusion

    weights, patches = load_weights(make_weights()), bag()
    density, zone, resolution = tensors(patches)
    net = weights.net.eval()

    def score(points):
        return net(points, zone.expand(len(points), -1), resolution.expand(len(points))).dial

    window = (1, 32, 32)
    with torch.inference_mode():
        plain = Occlusion(score).attribute(density, sliding_window_shapes=window, strides=window)[0].numpy()
    assert np.abs(plain).max() > 1e-3
    np.testing.assert_allclose(occlusion_map(patches, weights), plain, atol=2e-5)
