"""What is said of each place and pair adds up to the ratio that is stated, through calibration and JSON."""

import json
from dataclasses import replace

import numpy as np
import pytest
import torch
from verdicts_made import patches

from dialtell.model.net.calibration import Calibration
from dialtell.model.net.in_torch import InTorch, asked
from dialtell.model.net.net import NetConfig, StrokeNet
from dialtell.model.net.verdict import judge
from dialtell.model.net.weights_file import load_weights
from dialtell.model.reading.patches import PatchSet


def seeded(seed):
    torch.manual_seed(seed)
    net = StrokeNet(NetConfig(widths=(8, 8, 8, 16), code=16, beside=16))
    with torch.no_grad():
        for parameter in net.voices.parameters():
            parameter.normal_(0, 0.2)
    return net.eval()


def several_scales(level):
    """A dial with patches of three scales."""
    fine = patches(3, 8, 2, resolution=level)
    scale = np.arange(13) % 2 + 1
    coarse = patches(6, 20, 9, resolution=level)
    rng = np.random.default_rng(5)
    center = rng.uniform(-0.7, 0.7, (35, 2))
    return replace(coarse, center=center, fine=replace(fine, scale=scale, center=rng.uniform(-0.7, 0.7, (13, 2))))


@pytest.mark.parametrize(("seed", "level"), [(0, 1.3), (1, 0.0), (2, -2.0)])
def test_the_sum_is_the_stated_ratio(make_weights, seed, level):
    calibration = Calibration(1.7, 0.6, -20, 20, bounds=((-1.5, 0.5),))
    weights = replace(load_weights(make_weights()), asks=InTorch(seeded(seed)), dial_calibration=calibration)
    verdict = judge(several_scales(level), weights)
    told = verdict.explanation
    assert told.total == pytest.approx(verdict.whole.log10_lr, abs=1e-4) and not verdict.whole.capped
    assert len(told.places) == 48 and told.by_place.sum() == pytest.approx(told.total - told.base)
    assert np.abs(told.pairs).max() > 1e-3 and len(np.unique(told.pair, axis=0)) == len(told.pair)
    assert told.ways.look + told.ways.comparison == pytest.approx(told.total - told.base, abs=1e-5)
    assert min(abs(told.ways.look), abs(told.ways.comparison)) > 1e-3
    record = json.loads(json.dumps(told.record()))
    assert record["ways"]["look"] == pytest.approx(told.ways.look, abs=1e-5)
    parts = sum(part["contribution"] for part in [*record["places"], *record["pairs"]])
    assert record["base"] + parts == pytest.approx(verdict.whole.log10_lr, abs=1e-4)
    assert record["total"] == pytest.approx(verdict.whole.log10_lr, abs=1e-4)
    assert all(set(place) == {"zone", "x", "y", "contribution"} for place in record["places"])
    assert record["base"] + sum(zone["contribution"] for zone in record["zones"]) == pytest.approx(told.total, abs=1e-4)
    # held at a cap the sum stays what it was
    held = judge(several_scales(level), replace(weights, dial_calibration=replace(calibration, low=0.0, high=0.0)))
    assert held.explanation.total == pytest.approx(told.total) and held.whole.log10_lr == 0.0


def test_patches_of_every_scale_are_heard():
    dial, net = several_scales(1.0), seeded(0)
    assert isinstance(dial.joined, PatchSet) and len(dial.joined) == 48
    assert abs(float(asked(net, dial).dial) - float(asked(net, replace(dial, fine=None)).dial)) > 1e-5
