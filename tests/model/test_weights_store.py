"""Weights on disk: what is written loads to the same outputs, and nothing damaged, foreign or absurd is used."""

import hashlib
import json
import os
import pickle
import shutil

import pytest
import torch
from safetensors.torch import load_file, save_file

from dialtell.model.net import weights_file as store
from dialtell.model.net.calibration import Calibration
from dialtell.model.net.net import NetConfig, StrokeNet
from dialtell.model.net.weights_file import find_weights, load_weights, save_weights
from dialtell.model.reading.patches import SIDE
from dialtell.model.weights import numbers
from dialtell.synth.shared.errors import WeightsError

RECORD = {
    "name": "trial",
    "version": "3",
    "renderer_version": "1",
    "training": {"steps": 5},
    "calibration": {
        "dial": {"slope": 0.7, "offset": -0.2, "low": -1.5, "high": 1.25, "bounds": [[-2.0, 0.5]]},
        "zone": {"slope": 0.4},
    },
    "figures": {},
}


@pytest.fixture(scope="module")
def net():
    torch.manual_seed(3)
    made = StrokeNet(NetConfig(widths=(8, 8, 8, 16), code=16))
    made.train()(torch.rand(2, 8, SIDE, SIDE), torch.zeros(2, 8, dtype=torch.long), torch.zeros(2))
    return made.eval()


@pytest.fixture(scope="module")
def saved(net, tmp_path_factory):
    path = tmp_path_factory.mktemp("weights") / "trial.safetensors"
    save_weights(path, net, RECORD)
    return path


@pytest.fixture
def copy(saved, tmp_path):
    for suffix in (".safetensors", ".json"):
        shutil.copy(saved.with_suffix(suffix), tmp_path / f"trial{suffix}")
    return tmp_path / "trial.safetensors"


def change(path, **fields):
    """Rewrite fields of the .json."""
    described = path.with_suffix(".json")
    described.write_text(json.dumps({**json.loads(described.read_text()), **fields}))


def rewrite(path, blob):
    """Other bytes in place of the numbers, with the sha256 that belongs to them."""
    path.write_bytes(blob)
    change(path, sha256=hashlib.sha256(blob).hexdigest())


def refused(path, *said):
    with pytest.raises(WeightsError) as caught:
        load_weights(path)
    message = str(caught.value)
    assert str(path.with_suffix("")) in message  # names the file
    for words in said:
        assert words in message


def test_round_trip(net, saved):
    weights = load_weights(saved)
    scale = torch.randint(0, 3, (2, 8)).float()
    given = torch.rand(2, 8, SIDE, SIDE), torch.randint(0, 5, (2, 8)), torch.tensor([-1.0, 0.3]), scale
    with torch.no_grad():
        before, after = net(*given), weights.net(*given)
    for name in ("dial", "zone", "patch", "photographic", "present"):
        assert torch.equal(getattr(before, name), getattr(after, name))
    assert not weights.net.training
    assert weights.net.config == net.config
    digest = hashlib.sha256(saved.read_bytes()).hexdigest()
    assert weights.identity == {"name": "trial", "version": "3", "sha256": digest}
    assert weights.dial_calibration == Calibration(0.7, -0.2, -1.5, 1.25, ((-2.0, 0.5),))
    assert weights.zone_calibration == Calibration(slope=0.4)
    assert weights.record["training"] == {"steps": 5}


def test_only_the_two_files_are_left(saved):
    assert sorted(path.name for path in saved.parent.iterdir()) == ["trial.json", "trial.safetensors"]


@pytest.mark.parametrize("at", [0, 100, -1])
def test_one_byte_changed(copy, at):
    blob = bytearray(copy.read_bytes())
    blob[at] ^= 1
    copy.write_bytes(bytes(blob))
    refused(copy, "sha256", "copy both again")


def test_missing_files(copy, tmp_path):
    refused(tmp_path / "elsewhere.safetensors", "no such file", ".json beside it")
    copy.with_suffix(".json").unlink()
    refused(copy, "trial.json: no such file", "beside it")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("{", "not JSON"),
        ("[" * 100_000, "not JSON"),
        ("[]", "schema is not dialtell.weights/1"),
        ('{"schema": "other/9"}', "schema is not dialtell.weights/1"),
        ('{"schema": "dialtell.weights/1", "name": "x"}', "lacks architecture, calibration"),
    ],
)
def test_json_of_another_kind(copy, text, said):
    copy.with_suffix(".json").write_text(text)
    refused(copy, said, "again" if "schema" not in said else "training")


def test_json_that_is_not_text(copy):
    copy.with_suffix(".json").write_bytes(b"\xff\xfe\x00")
    refused(copy, "not JSON")


@pytest.mark.parametrize(
    ("field", "value"),
    [("patch_side_px", 32), ("patch_px_per_radius", 500.0), ("density_range", [0.0, 2.0]), ("zones", ["track"])],
)
def test_other_preprocessing(copy, field, value):
    change(copy, preprocessing={**store.preprocessing(), field: value})
    refused(copy, "another preprocessing", "train again")


@pytest.mark.parametrize(
    ("size", "said"),
    [
        ({"widths": [8, 8, 8, 10**7]}, "absurd size"),
        ({"widths": [8, 8, 8, 0]}, "absurd size"),
        ({"widths": [8, 8, 8]}, "absurd size"),
        ({"code": 10**9}, "absurd size"),
        ({"beside": 0}, "absurd size"),
        ({"code": "sixteen"}, "no net of this version"),
        ({"widths": None}, "no net of this version"),
        ({"code": float("inf")}, "no net of this version"),
        ({"layers": 3}, "no net of this version"),
        ({"code": 24}, "does not fit"),
    ],
)
def test_architecture(copy, size, said):
    whole = json.loads(copy.with_suffix(".json").read_text())["architecture"]
    change(copy, architecture={**whole, **size})
    refused(copy, said)


@pytest.mark.parametrize("lacks", ["additive", "pairs"])
def test_weights_of_an_older_net(copy, lacks):
    """As written before there was one net alone: those before it, and those before there were pairs."""
    size = json.loads(copy.with_suffix(".json").read_text())["architecture"]
    older = {name: value for name, value in size.items() if name != "pairs"}
    change(copy, architecture={**size, "additive": False} if lacks == "additive" else older)
    refused(copy, "of an older net", "take the weights that come with this version, or train anew")


def test_architecture_that_is_no_object(copy):
    change(copy, architecture=7)
    refused(copy, "no net of this version")


@pytest.mark.parametrize("bad", [float("nan"), float("inf")])
def test_numbers_that_are_not_finite(copy, bad):
    tensors = load_file(copy)
    tensors["print_head.0.weight"][0, 0] = bad
    save_file(tensors, copy)
    rewrite(copy, copy.read_bytes())
    refused(copy, "not finite", "train it again")


def test_numbers_of_another_precision(copy):
    """Half precision would load without a word and call otherwise than what was measured."""
    tensors = load_file(copy)
    save_file({name: t.half() if name == "print_head.0.weight" else t for name, t in tensors.items()}, copy)
    rewrite(copy, copy.read_bytes())
    refused(copy, "print_head.0.weight is float16, not float32", "train it again")


def test_tensors_missing_or_foreign(copy):
    tensors = load_file(copy)
    save_file({**{k: v for k, v in tensors.items() if k != "voices.0.weigh.bias"}, "extra": torch.zeros(2)}, copy)
    rewrite(copy, copy.read_bytes())
    refused(copy, "does not fit", "voices.0.weigh.bias", "extra")


class Trap:
    """Unpickling this would leave a mark."""

    sprung = False

    def __reduce__(self):
        return (setattr, (Trap, "sprung", True))


def test_a_pickle_is_not_run(copy):
    copy.write_bytes(pickle.dumps(Trap()))
    refused(copy, "sha256")
    rewrite(copy, pickle.dumps(Trap()))
    refused(copy, "not a safetensors file", "copy it again")
    assert not Trap.sprung


def test_a_file_far_too_large(copy, monkeypatch):
    monkeypatch.setattr(numbers, "LARGEST_BYTES", 1000)
    refused(copy, "larger than 1000 bytes")


@pytest.mark.parametrize(
    "entry",
    [None, {}, {"dial": {}}, {"dial": {}, "zone": {"slope": -1}}, {"dial": {"offset": float("nan")}, "zone": {}},
     {"dial": {"low": 1.0}, "zone": {}}, {"dial": {"bounds": [[1]]}, "zone": {}}, {"dial": {"tilt": 1}, "zone": {}},
     {"dial": {"slope": 10**400}, "zone": {}}, {"dial": {"bounds": [[10**400, 1]]}, "zone": {}},
     {"dial": {"bounds": [[1, float("nan")]]}, "zone": {}}],
)  # fmt: skip
def test_calibration_that_cannot_be_used(copy, entry):
    change(copy, calibration=entry)
    refused(copy, "no usable")


def test_an_interrupted_save_leaves_the_old_weights(net, copy, monkeypatch):
    before = load_weights(copy).sha256
    monkeypatch.setattr(os, "replace", lambda *_: (_ for _ in ()).throw(KeyboardInterrupt))
    other = StrokeNet(net.config)
    with pytest.raises(KeyboardInterrupt):
        save_weights(copy, other, RECORD)
    monkeypatch.undo()
    assert load_weights(copy).sha256 == before


def test_weights_with_and_without_a_calibration_of_prints(copy):
    assert load_weights(copy).print_calibration is None  # as made before there was one
    change(copy, calibration={**RECORD["calibration"], "print": {"slope": 0.5, "low": -1.0}})
    assert load_weights(copy).print_calibration == Calibration(slope=0.5, low=-1.0)
    change(copy, calibration={**RECORD["calibration"], "print": {"slope": -1.0}})
    refused(copy, "no usable print calibration")


def test_places_that_mean_weights(copy, tmp_path):
    assert find_weights("shipped") == store.SHIPPED
    assert find_weights(str(copy)) == find_weights(str(copy.parent)) == copy
    (tmp_path / "last.safetensors").write_bytes(b"a checkpoint has no .json")
    assert find_weights(str(tmp_path)) == copy
    for suffix in (".safetensors", ".json"):
        shutil.copy(copy.with_suffix(suffix), tmp_path / f"other{suffix}")
    with pytest.raises(WeightsError, match=r"holds other\.safetensors, trial\.safetensors; give one of these files"):
        find_weights(str(tmp_path))
    (tmp_path / "bare").mkdir()
    with pytest.raises(WeightsError, match=r"no \.safetensors file with its \.json beside it .*; give another"):
        find_weights(str(tmp_path / "bare"))
    with pytest.raises(WeightsError, match=r"give a \.safetensors file, a folder with one in it, or the word shipped"):
        find_weights("shiped")
