"""Where nets run: named, and what is given to them brought there."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
import torch
from verdicts_made import patches

from dialtell.evaluate.cli.main import main
from dialtell.model.net.device import pick_device
from dialtell.model.net.verdict import asked
from dialtell.model.net.weights_file import load_weights
from dialtell.model.reader.net import Sight
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


def test_both_nets_go_and_the_first_weights_stay(make_weights):
    weights = load_weights(make_weights())
    there = weights.on(ELSEWHERE)
    for net in (there.net, there.reader.net):
        assert {tensor.device for tensor in net.state_dict().values()} == {ELSEWHERE}
    assert there.reader.device == ELSEWHERE and there.identity == weights.identity
    for net in (weights.net, weights.reader.net):
        assert {tensor.device for tensor in net.state_dict().values()} == {torch.device("cpu")}
    assert weights.reader.on(torch.device("cpu")) is weights.reader


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


def test_the_reader_is_given_the_picture_where_it_is(make_weights):
    reader = load_weights(make_weights()).reader.on(ELSEWHERE)
    seen = []

    def watched(picture, turn):
        seen.append((picture.device, turn))
        return Sight(*(torch.zeros(size) for size in ((1, 9, 8, 8), (1, 4, 4), (1, 2, 4, 4), (1, len(MAKES)))), None)

    look = first_look(np.zeros((40, 30, 3), np.uint8), replace(reader, net=watched))
    assert seen == [(ELSEWHERE, False)] and look.inside.shape == (4, 4) and look.turn is None


@pytest.mark.skipif(torch.cuda.is_available(), reason="there is a CUDA device")
@pytest.mark.parametrize("more", [[], ["--csv", "calls.csv"]])
def test_a_device_that_is_not_there_is_said(more, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert main(["score", "watch.jpg", "--device", "cuda", *more]) == 1
    assert "torch sees no CUDA device; give --device auto or cpu" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []
