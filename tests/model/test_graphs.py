"""The graphs say what the nets in torch say, of bags of every size, with whatever numbers; stale ones are noticed."""

import json
import shutil
from dataclasses import asdict, replace

import numpy as np
import pytest
import torch
from verdicts_made import patches

from dialtell.model.net.in_onnx import InOnnx
from dialtell.model.net.in_torch import InTorch
from dialtell.model.net.net import StrokeNet
from dialtell.model.net.said import Parts
from dialtell.model.net.weights_file import SHIPPED, load_weights, save_weights
from dialtell.model.reader.file import load_reader
from dialtell.model.reader.in_onnx import LooksInOnnx
from dialtell.model.reader.in_torch import LooksInTorch
from dialtell.model.reader.net import SIDE, ReaderNet
from dialtell.model.reader.reader_config import ReaderConfig
from dialtell.model.weights import graphs
from dialtell.model.weights.modules import forms, norms, numbers_of
from dialtell.synth.shared.errors import WeightsError

CLOSE = 1e-4


@pytest.fixture(scope="module")
def shipped():
    """By ONNX Runtime and by torch."""
    return load_weights(), load_weights(lighter=False)


def bag(*counts, each=False):
    """Patches of several scales and single shapes; of two photographs if asked."""
    coarse = patches(*counts, resolution=-0.7)
    count = len(coarse) // 3 + 2
    scale = np.tile([1.0, 0.5, -0.5, 2.0], count)[:count]
    own = np.linspace(-2, 1, len(coarse)).round(), np.linspace(-1, 1, count).round()
    fine = replace(coarse.chosen(np.arange(count) % len(coarse)), scale=scale, each=own[1] if each else None)
    return replace(coarse, fine=fine, each=own[0] if each else None)


def assert_same(one, other):
    """Two answers, with every reason."""
    assert one.dial == pytest.approx(other.dial, abs=CLOSE)
    assert one.photographic == pytest.approx(other.photographic, abs=CLOSE)
    assert one.ways == pytest.approx(other.ways, abs=CLOSE)
    np.testing.assert_allclose(one.zone, other.zone, atol=CLOSE)
    for name in Parts.__dataclass_fields__:
        np.testing.assert_allclose(getattr(one.parts, name), getattr(other.parts, name), atol=CLOSE, err_msg=name)


@pytest.mark.parametrize("given", [
    bag(6), bag(3, 4, 2), bag(0, 40, 30), bag(20, 60, 90, 30, 5), bag(30, 0, 0, 0, 300), bag(9, 30, 20, each=True),
], ids=len)  # fmt: skip
def test_the_strokes_net(shipped, given):
    light, heavy = shipped
    assert isinstance(light.asks, InOnnx) and isinstance(heavy.asks, InTorch)
    said = light.asks.said(given)
    assert_same(said, heavy.asks.said(given))
    assert said.dial == pytest.approx(said.parts.added + said.parts.dial_base, abs=CLOSE)
    assert sum(said.ways) / 2 == pytest.approx(said.parts.added, abs=CLOSE)
    assert (said.parts.pair_with >= 0).any()
    numbers = [one.asks.plain_numbers(given.density) for one in shipped]
    np.testing.assert_allclose(*numbers, atol=CLOSE)


def test_new_numbers_need_no_new_graph(shipped, tmp_path):
    """Of the same net, trained anew."""
    torch.manual_seed(3)
    net, path = StrokeNet(shipped[0].net.config), tmp_path / "new.safetensors"
    with torch.no_grad():
        for name, value in net.state_dict().items():
            if value.is_floating_point():
                value.add_(0.05 * torch.rand_like(value) if "running" in name else 0.02 * torch.randn_like(value))
    save_weights(path, net, dict(shipped[0].record))
    light, heavy = load_weights(path), load_weights(path, lighter=False)
    assert isinstance(light.asks, InOnnx)
    given = bag(20, 30, 6)
    said = light.asks.said(given)
    assert_same(said, heavy.asks.said(given))
    assert abs(said.dial - shipped[0].asks.said(given).dial) > 1e-3
    # the net in torch is there for who trains
    for name, value in net.state_dict().items():
        assert torch.equal(light.net.state_dict()[name], value)


@pytest.mark.parametrize("turn", [False, True])
def test_the_reader(turn):
    light, heavy = load_reader(), load_reader(lighter=False)
    assert isinstance(light.looks, LooksInOnnx) and isinstance(heavy.looks, LooksInTorch)
    rng = np.random.default_rng(4)
    rough = rng.integers(0, 256, (SIDE, SIDE, 3), dtype=np.uint8)
    smooth = np.repeat(np.repeat(rough[:16, :16], SIDE // 16, 0), SIDE // 16, 1)
    for picture in (rough, smooth):
        one, other = light.looks(picture, turn), heavy.looks(picture, turn)
        assert (one.turn is None) == (other.turn is None) == (not turn)
        for name, mine, theirs in zip(one._fields, one, other, strict=True):
            if mine is not None:
                np.testing.assert_allclose(mine, theirs, atol=10 * CLOSE, err_msg=name)


def test_what_is_said_of_the_nets_is_so(shipped):
    """graphs.json; after a change of a net's code: `python tests/trials makers/graphs --out model/weights`."""
    told = json.loads(graphs.PLACE.read_text("utf-8"))
    strokes = StrokeNet(shipped[0].net.config)
    size = load_reader().record["architecture"]
    reader = ReaderNet(ReaderConfig(tuple(size["widths"]), size["turn"]))
    for name, net, config in (("strokes", strokes, strokes.config.record()), ("reader", reader, asdict(reader.config))):
        assert told[name]["architecture"] == json.loads(json.dumps(config))
        assert told[name]["norms"] == norms(net)
        assert told[name]["numbers"] == forms(net)
    assert sum(path.stat().st_size for path in graphs.PLACE.parent.glob("*.onnx")) < 400_000  # no numbers in them


def test_a_graph_that_is_not_the_one_stated_is_refused(shipped, tmp_path, monkeypatch):
    for path in (graphs.PLACE, *graphs.PLACE.parent.glob("*.onnx")):
        shutil.copy(path, tmp_path)
    monkeypatch.setattr(graphs, "PLACE", tmp_path / "graphs.json")
    blob = bytearray((tmp_path / "judge.onnx").read_bytes())
    blob[len(blob) // 2] ^= 1
    (tmp_path / "judge.onnx").write_bytes(blob)
    with pytest.raises(WeightsError, match=r"judge\.onnx: is not the graph that graphs\.json states; install"):
        load_weights().asks.said(bag(6, 6))


def test_nets_of_another_size_and_machines_without_the_runtime_ask_torch(make_weights, monkeypatch):
    assert isinstance(load_weights(make_weights()).asks, InTorch)
    monkeypatch.setattr(graphs, "_installed", lambda: False)
    assert isinstance(load_weights().asks, InTorch)


def test_numbers_that_do_not_fit_are_refused(shipped):
    numbers = numbers_of(shipped[1].net)
    size, name = shipped[1].net.config.record(), "encoder.head.0.weight"
    for wrong, said in (
        ({name: numbers[name].astype(np.float16)}, "float16, not float32"), ({name: numbers[name][:1]}, "does not fit"),
        ({name: numbers[name] * np.nan}, "not finite"), ({"more": numbers[name]}, "does not fit"),
    ):  # fmt: skip
        with pytest.raises(WeightsError, match=said):
            graphs.graphs_for("strokes", size, numbers | wrong, SHIPPED)
