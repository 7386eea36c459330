"""The reader on disk: what is written is read again, and nothing damaged or meant for something else is."""

import json

import numpy as np
import pytest
import torch
from safetensors.torch import load_file
from safetensors.torch import save as save_tensors

from dialtell.model.reader.file import MEANING, SHIPPED, Certainty, load_reader, save_reader
from dialtell.model.reader.net import SIDE, ReaderConfig, ReaderNet
from dialtell.model.weights.modules import folded
from dialtell.synth.shared.errors import WeightsError

RECORD = {
    "name": "reader", "version": "0", "renderer_version": "1", "training": {}, "figures": {},
    "certainty": {"outline": [0.5, -1.0, -0.3, 1.0, 1.5, -1.0, -20.0], "twelve": [0.1, 0.9]},
}  # fmt: skip
CERTAINTY = Certainty((0.5, -1.0, -0.3, 1.0, 1.5, -1.0, -20.0), (0.1, 0.9))


def net(seed=0):
    """A small net whose normalisations have seen something."""
    torch.manual_seed(seed)
    made = ReaderNet(ReaderConfig((4, 6, 4, 6, 4), 4)).train()
    with torch.no_grad():
        for _ in range(3):
            made(60.0 * torch.randn(2, 3, SIDE, SIDE) + 127.0, True)
        for name, parameter in made.named_parameters():
            if "norm" in name or name.endswith("1.weight"):
                parameter.mul_(1.3)
    return made.eval()


@pytest.fixture
def saved(tmp_path):
    path = tmp_path / "reader.safetensors"
    save_reader(path, net(), RECORD)
    return path


def told(some, picture):
    with torch.inference_mode():
        return some(picture, True)


def test_round_trip(saved):
    reader = load_reader(saved)
    assert reader.certainty == CERTAINTY and reader.identity["name"] == "reader"
    assert len(reader.sha256) == 64 and reader.record["meaning"] == MEANING
    picture = torch.randint(0, 256, (SIDE, SIDE, 3), dtype=torch.uint8)
    for one, other in zip(
        told(net(), picture.permute(2, 0, 1)[None].float()), reader.looks(picture.numpy(), True), strict=True
    ):
        assert np.allclose(one[0].numpy(), other, atol=1e-4, rtol=1e-4)
    assert reader.looks(picture.numpy(), False).turn is None


def test_a_reader_written_over_another_is_the_one_loaded(saved):
    before = load_reader(saved)
    save_reader(saved, net(1), {**RECORD, "version": "1"})
    after = load_reader(saved)
    assert (before.version, after.version) == ("0", "1") and before.sha256 != after.sha256


def test_folding_changes_nothing():
    own = net(1)
    picture = 255.0 * torch.rand(2, 3, SIDE, SIDE)
    plain, fused = told(own, picture), told(folded(own), picture)
    assert not any(isinstance(part, torch.nn.BatchNorm2d) for part in folded(own).modules())
    for one, other in zip(plain, fused, strict=True):
        assert torch.allclose(one, other, atol=1e-4, rtol=1e-4)


def changed(path, **fields):
    record = json.loads(path.with_suffix(".json").read_text())
    path.with_suffix(".json").write_text(json.dumps({**record, **fields}))


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"schema": "dialtell.weights/1"}, "schema is not dialtell.reader/1"),
        ({"meaning": {**MEANING, "seen": MEANING["seen"][::-1]}}, "other names or sizes"),
        ({"meaning": {**MEANING, "side_px": 256}}, "other names or sizes"),
        ({"architecture": {"widths": [4, 6, 4, 6, 10**6], "turn": 4}}, "absurd size"),
        ({"architecture": {"widths": [4, 6, 4, 6, 4], "turn": 0}}, "absurd size"),
        ({"architecture": {"widths": [4, 6, 4], "turn": 4}}, "absurd size"),
        ({"architecture": {"widths": "wide", "turn": 4}}, "no reader of this version"),
        ({"architecture": {"widths": [4, 6, 4, 6, 4], "turn": float("inf")}}, "no reader of this version"),
        ({"architecture": []}, "no reader of this version"),
        ({"architecture": {"widths": [4, 4, 4, 4, 4], "turn": 4}}, "does not fit the net"),
        ({"certainty": {"outline": [0.0, 1.0]}}, "no reader of this version"),
        ({"certainty": {"outline": [0.0, 1.0], "twelve": [0.0, 1.0]}}, "absurd size"),
        ({"certainty": {"outline": [0.0] * 3, "twelve": [0.0, 1.0]}}, "absurd size"),  # of an interim reader
        ({"certainty": {"outline": [0.0] * 6 + [float("nan")], "twelve": [0.0, 1.0]}}, "absurd size"),
        ({"certainty": 3}, "no reader of this version"),
    ],
)  # fmt: skip
def test_another_description_is_refused(saved, fields, said):
    changed(saved, **fields)
    with pytest.raises(WeightsError, match=said):
        load_reader(saved)


@pytest.mark.parametrize("field", ["name", "certainty", "meaning", "architecture", "sha256"])
def test_a_field_that_lacks_is_named(saved, field):
    record = json.loads(saved.with_suffix(".json").read_text())
    del record[field]
    saved.with_suffix(".json").write_text(json.dumps(record))
    with pytest.raises(WeightsError, match=f"lacks {field}"):
        load_reader(saved)


def test_damage_is_noticed(saved):
    blob = bytearray(saved.read_bytes())
    blob[-5] ^= 1
    saved.write_bytes(blob)
    with pytest.raises(WeightsError, match="damaged or changed"):
        load_reader(saved)
    saved.with_suffix(".json").unlink()
    with pytest.raises(WeightsError, match="no such file"):
        load_reader(saved)


def rewritten(path, tensors):
    import hashlib

    blob = save_tensors(tensors)
    path.write_bytes(blob)
    changed(path, sha256=hashlib.sha256(blob).hexdigest())


def test_numbers_that_are_none_or_of_another_kind_are_refused(saved):
    tensors = load_file(saved)
    name = "outline.weight"
    rewritten(saved, {**tensors, name: tensors[name] * float("nan")})
    with pytest.raises(WeightsError, match="not finite"):
        load_reader(saved)
    rewritten(saved, {**tensors, name: tensors[name].half()})
    with pytest.raises(WeightsError, match="float16"):
        load_reader(saved)
    rewritten(saved, {key: value for key, value in tensors.items() if key != name})
    with pytest.raises(WeightsError, match="does not fit"):
        load_reader(saved)


def test_the_shipped_reader_loads_once():
    assert load_reader(SHIPPED) is load_reader(SHIPPED)
    assert load_reader(SHIPPED).record["schema"] == "dialtell.reader/1"
