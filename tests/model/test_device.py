"""Where nets run: named, and what is given to them brought there."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
import torch
from verdicts_made import patches

from dialtell.evaluate.cli.main import main
from dialtell.model.net import device
from dialtell.model.net.device import pick_device
from dialtell.model.net.in_torch import InTorch, asked
from dialtell.model.net.weights_file import load_weights
from dialtell.model.reader.file import load_reader
from dialtell.model.reader.in_torch import LooksInTorch
from dialtell.model.reader.net import ReaderNet, Sight
from dialtell.model.reader.reader_config import ReaderConfig
from dialtell.model.reading.looks import first_look
from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.shared.terms import MAKES

ELSEWHERE = torch.device("meta")  # a device without numbers, which every machine has


def test_devices():
    assert pick_device("cpu") == (torch.device("cpu"), "asked for")
    with pytest.raises(ParameterError, match="device is 'tpu'; give auto, cpu, cuda or mps"):
        pick_device("tpu")


@pytest.mark.parametrize(("cuda", "mps", "kind", "why"), [
    (True, True, "cuda", "a CUDA device is there"),
    (False, True, "mps", "an Apple GPU is there"),
    (False, False, "cpu", "no GPU is there"),
])  # fmt: skip
def test_auto_says_why(monkeypatch, cuda, mps, kind, why):
    monkeypatch.setattr(torch.cuda, "is_available", lambda: cuda)
    monkeypatch.setattr(torch.backends.mps, "is_available", lambda: mps)
    assert pick_device("auto") == (torch.device(kind), why)
    for name, there in (("cuda", cuda), ("mps", mps)):
        if not there:
            with pytest.raises(ParameterError, match=f"device is '{name}', but torch sees no .* give --device auto"):
                pick_device(name)


def test_both_nets_go_where_they_are_wanted_and_ask_torch_there(make_weights, monkeypatch):
    monkeypatch.setattr(device, "pick_device", lambda name: (torch.device("meta"), "asked for"))
    there = load_weights(make_weights(), "mps")
    assert isinstance(there.asks, InTorch) and isinstance(there.reader.looks, LooksInTorch)
    for net in (there.net, there.reader.looks.net):
        assert {tensor.device for tensor in net.state_dict().values()} == {ELSEWHERE}
    assert there.identity == load_weights(make_weights()).identity


def test_without_torch_auto_is_the_processor(monkeypatch):
    monkeypatch.setattr(device, "find_spec", lambda name: None)
    monkeypatch.setattr(device, "pick_device", None)  # not asked
    assert device.kind_of_device("auto") == device.kind_of_device("cpu") == "cpu"


def test_what_a_net_is_given_lies_where_it_is(make_weights):
    """The net of strokes: everything goes to it. (What comes back has no numbers on this device.)"""
    seen = []

    class Watcher(torch.nn.Module):
        def __init__(self):
            super().__init__()
            self.own = torch.nn.Parameter(torch.zeros(1, device=ELSEWHERE))

        def forward(self, *given):
            seen.extend(tensor.device for tensor in given)
            return SimpleNamespace(each=lambda do: do)

    assert asked(Watcher(), patches(4, 4)) is torch.Tensor.cpu  # it is brought back
    assert seen == [ELSEWHERE] * 4


def test_the_reader_is_given_the_picture_where_it_is():
    looks, seen = LooksInTorch(ReaderNet(ReaderConfig((4, 4, 4, 4, 4), 4)), "meta"), []

    def watched(picture, turn):
        seen.append((picture.device, turn))
        return Sight(*(torch.zeros(size) for size in ((1, 9, 8, 8), (1, 4, 4), (1, 2, 4, 4), (1, len(MAKES)))), None)

    looks.net = watched
    look = first_look(np.zeros((40, 30, 3), np.uint8), replace(load_reader(), looks=looks))
    assert seen == [(ELSEWHERE, False)] and look.inside.shape == (4, 4) and look.turn is None


@pytest.mark.skipif(torch.cuda.is_available(), reason="there is a CUDA device")
@pytest.mark.parametrize("more", [[], ["--csv", "calls.csv"]])
def test_a_device_that_is_not_there_is_said(more, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert main(["score", "watch.jpg", "--device", "cuda", *more]) == 1
    assert "torch sees no CUDA device; give --device auto or cpu" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []
