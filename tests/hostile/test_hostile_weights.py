"""Weights and checkpoints from someone else: looked at before a number of them is used, and never run."""

from __future__ import annotations

import ast
import hashlib
import json
import pickle
import shutil
from pathlib import Path

import pytest
import torch
from inline_supply import InlineSupply
from safetensors.torch import load_file, save_file

import dialtell.evaluate
import dialtell.model
import dialtell.synth
import dialtell.train
from dialtell.evaluate.cli.main import main
from dialtell.model.net.weights_file import load_weights
from dialtell.synth.scene import RENDERER_VERSION
from dialtell.synth.shared.errors import ParameterError, WeightsError
from dialtell.train.run.config import preset
from dialtell.train.run.loop import Trainer

RUNNERS = {"pickle", "cPickle", "dill", "joblib", "shelve", "marshal", "cloudpickle"}


class Trap:
    """Unpickled, it makes a file."""

    def __init__(self, place):
        self.place = place

    def __reduce__(self):
        return Path.touch, (self.place,)


@pytest.fixture
def weights(make_weights, tmp_path):
    """A copy that may be tampered with: (path, write) where write(**changes) states its own hash."""
    source = make_weights()
    path = tmp_path / "net.safetensors"
    shutil.copy(source, path)
    record = json.loads(source.with_suffix(".json").read_text("utf-8"))

    def write(**changes):
        whole = record | {"sha256": hashlib.sha256(path.read_bytes()).hexdigest()} | changes
        path.with_suffix(".json").write_text(json.dumps(whole), encoding="utf-8")

    write()
    return path, write


def test_nothing_in_the_program_reads_what_could_run():
    """No module imports a reader of pickles; NumPy's and torch's own are asked for plain arrays only, or not at all."""
    for package in (dialtell.synth, dialtell.model, dialtell.train, dialtell.evaluate):
        for file in Path(next(iter(package.__path__))).rglob("*.py"):
            for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
                if isinstance(node, ast.Import):
                    assert not RUNNERS & {name.name.split(".")[0] for name in node.names}, file
                if isinstance(node, ast.ImportFrom):
                    assert (node.module or "").split(".")[0] not in RUNNERS, file
                if isinstance(node, ast.Call):
                    called = ast.unparse(node.func)
                    assert called not in ("torch.load", "eval", "exec", "yaml.load", "os.system"), (file, called)
                    if called == "np.load":
                        given = {word.arg: ast.unparse(word.value) for word in node.keywords}
                        assert given.get("allow_pickle") == "False", file
                    assert not any(word.arg == "shell" for word in node.keywords), file


@pytest.mark.parametrize("suffix", [".safetensors", ".pt", ".pkl"])
def test_a_pickle_is_refused_unread(weights, suffix, tmp_path, capsys):
    path, write = weights
    place = path.with_suffix(suffix)
    place.write_bytes(pickle.dumps({"net": Trap(tmp_path / "trap")}))
    if suffix == ".safetensors":
        write()  # its hash even states it
    with pytest.raises(WeightsError):
        load_weights(place)
    assert main(["score", "x.png", "--weights", str(place)]) == 1
    assert "error" in capsys.readouterr().err and not (tmp_path / "trap").exists()


@pytest.mark.parametrize(
    "tampered",
    ["one bit", "cut off", "another shape", "one more", "one less", "not a number", "header beyond the file",
     "header of nested lists"],
)  # fmt: skip
def test_numbers_that_were_tampered_with(weights, tampered):
    path, write = weights
    data, tensors = path.read_bytes(), load_file(path)
    name = next(key for key, value in tensors.items() if value.ndim == 4)
    if tampered == "another shape":
        save_file(tensors | {name: tensors[name].flatten()}, path)
    elif tampered == "one more":
        save_file(tensors | {"extra": torch.zeros(3)}, path)
    elif tampered == "one less":
        save_file({key: value for key, value in tensors.items() if key != name}, path)
    elif tampered == "not a number":
        save_file(tensors | {name: tensors[name] * float("nan")}, path)
    elif tampered == "cut off":
        path.write_bytes(data[:-100])
    elif tampered == "header beyond the file":
        path.write_bytes((2**63).to_bytes(8, "little") + data[8:])
    elif tampered == "header of nested lists":
        head = b"[" * 100_000
        path.write_bytes(len(head).to_bytes(8, "little") + head)
    else:
        path.write_bytes(data[:-1] + bytes([data[-1] ^ 1]))
    if tampered != "one bit":  # whoever changes the numbers can change the hash that is stated
        write()
    with pytest.raises(WeightsError, match=r"net\.safetensors"):
        load_weights(path)


@pytest.mark.parametrize(
    "changes",
    [{"architecture": {"widths": [10**9] * 4, "code": 16, "beside": 8, "pairs": 1}},
     {"architecture": {"widths": [8] * 4, "code": 10**400, "beside": 8, "pairs": 1}},
     {"architecture": {"widths": "8888", "code": 16, "beside": 8, "pairs": 1}}, {"architecture": []},
     {"architecture": {"widths": [8] * 4, "code": 16}}, {"schema": "other/1"}, {"preprocessing": None},
     {"calibration": {"dial": {"offset": "1e400"}, "zone": {}}}, {"calibration": {"dial": {"slope": [1]}, "zone": {}}},
     {"calibration": {"dial": {"unknown": 1}, "zone": {}}}, {"calibration": []}, {"sha256": None},
     {"calibration": {"dial": {"offset": float("nan")}, "zone": {}}}],
)  # fmt: skip
def test_descriptions_that_were_tampered_with(weights, changes):
    path, write = weights
    write(**changes)
    with pytest.raises(WeightsError):
        load_weights(path)


# --- checkpoints ---


@pytest.fixture(scope="module")
def run_folder(tmp_path_factory):
    folder = tmp_path_factory.mktemp("run") / "run"
    trainer = Trainer(preset("tiny", epochs=2, pairs=2, device="cpu"), folder)
    trainer.start_folder()
    trainer.run(InlineSupply(), until=1)
    return folder


@pytest.fixture
def run(run_folder, tmp_path):
    return Path(shutil.copytree(run_folder, tmp_path / "run"))


def refused(run, said):
    with pytest.raises(ParameterError, match=said):
        Trainer.resume(run)


@pytest.mark.parametrize("tampered", ["pickle", "cut off", "shape", "one less", "state", "index", "counters", "none"])
def test_a_checkpoint_that_was_tampered_with(run, tampered, tmp_path):
    last = run / "last.safetensors"
    tensors, data = load_file(last), last.read_bytes()
    counters = {"epoch": "1", "step": "2", "best": "0.5"}
    name = next(key for key, value in tensors.items() if key.startswith("net.") and value.ndim == 4)
    if tampered == "pickle":
        last.write_bytes(pickle.dumps(Trap(tmp_path / "trap")))
    elif tampered == "cut off":
        last.write_bytes(data[: len(data) // 2])
    elif tampered == "shape":
        save_file(tensors | {name: tensors[name][:1].clone()}, last, metadata=counters)
    elif tampered == "one less":
        save_file({key: value for key, value in tensors.items() if key != name}, last, metadata=counters)
    elif tampered == "state":
        save_file(tensors | {"optimizer.0.exp_avg": torch.zeros(1)}, last, metadata=counters)
    elif tampered == "index":
        save_file(tensors | {"optimizer.99999.exp_avg": torch.zeros(1)}, last, metadata=counters)
    elif tampered == "counters":
        save_file(tensors, last, metadata=counters | {"epoch": "1e5"})
    else:
        save_file(tensors, last)
    refused(run, r"last\.safetensors is damaged or of another net .*; copy it again, or move it away")
    assert not (tmp_path / "trap").exists()


OF_NOW = json.dumps({"config": 1, "renderer_version": RENDERER_VERSION})


@pytest.mark.parametrize("text", ["", "[]", "{}", "[" * 100_000, OF_NOW, "\xff"])
def test_settings_of_a_run_that_were_tampered_with(run, text):
    (run / "config.json").write_bytes(text.encode("latin-1"))
    refused(run, "config")


def test_a_row_cut_short_does_not_stay(run):
    with (run / "metrics.csv").open("a") as file:
        file.write("1")  # of an epoch 12 that was being noted
    Trainer.resume(run)
    assert len((run / "metrics.csv").read_text().splitlines()) == 2
