"""A compiled step learns what a plain one does: its gradients are numbers, and as near to those of full precision."""

from shutil import which

import pytest
import torch

from dialtell.model.net.net import StrokeNet
from dialtell.model.reading.patches import SIDE
from dialtell.synth.shared.terms import ZONES
from dialtell.train.run import compiled as steps
from dialtell.train.run.compiled import can_compile, compile_net, compiled
from dialtell.train.run.loop import losses
from dialtell.train.run.store import Batch, varied

DIALS, PATCHES = 8, 24

pytestmark = [
    pytest.mark.skipif(which("cc") is None, reason="no C compiler"),
    pytest.mark.filterwarnings("ignore"),  # torch's compiler has many
]


DEVICES = pytest.mark.parametrize("device", [
    pytest.param("cpu", marks=pytest.mark.slow),
    pytest.param("cuda", marks=pytest.mark.skipif(not torch.cuda.is_available(), reason="no CUDA device")),
])  # fmt: skip


def as_compiled(function):
    return torch.compile(function, dynamic=False, fullgraph=True)


def batch(device):
    rng = torch.Generator().manual_seed(1)
    zone = torch.randint(0, len(ZONES), (DIALS, PATCHES), generator=rng).sort(1).values
    zone[:, -4:] = -1
    dial = torch.tensor([1.0, 0.0] * (DIALS // 2))
    hand = dial[:, None].expand(DIALS, len(ZONES)).clone()
    given = Batch(
        patches=torch.rand((DIALS, PATCHES, SIDE, SIDE), generator=rng), zone=zone, resolution=torch.zeros(DIALS),
        hand=hand, dial=dial, photographic=dial - 1, twin=torch.arange(DIALS) ^ 1,
        strokes=torch.where(zone < 0, -1.0, dial[:, None]),
    )  # fmt: skip
    return Batch(**{name: value.to(device) for name, value in vars(given).items()})


def gradients(device, *, half, compiled_too):
    torch.manual_seed(0)
    net = StrokeNet().to(device)
    for module in net.modules():
        if isinstance(module, torch.nn.Dropout):
            module.p = 0.0
    if compiled_too and device == "cuda":
        compile_net(net, torch.device(device))
    elif compiled_too:
        net.compile(dynamic=False)
    given = batch(device)
    with torch.autocast(device, torch.bfloat16, enabled=half):
        output = net(given.patches, given.zone, given.resolution)
    (as_compiled(losses) if compiled_too else losses)(output, given).backward()
    return {name: p.grad.cpu() for name, p in net.named_parameters() if p.grad is not None}


@DEVICES
def test_gradients_of_a_compiled_step(device):
    torch._dynamo.reset()
    exact = gradients(device, half=False, compiled_too=False)
    off = {}
    for compiled_too in (False, True):
        found = gradients(device, half=True, compiled_too=compiled_too)
        assert found.keys() == exact.keys() and all(torch.isfinite(value).all() for value in found.values())
        sizes = [float((found[name] - exact[name]).norm() / exact[name].norm()) for name in exact]
        off[compiled_too] = sorted(sizes)[len(sizes) // 2]
    assert 0 < off[True] < 1.5 * off[False] < 0.5


@DEVICES
def test_patches_varied_compiled(device):
    torch._dynamo.reset()
    rng = torch.Generator().manual_seed(2)
    packed = torch.randint(0, 256, (4, 6, SIDE, SIDE), generator=rng, dtype=torch.uint8)
    packed[0] = 0  # bare enamel
    even, scale = torch.rand((4, 5), generator=rng), torch.randint(0, 2, (4, 6), generator=rng).float()
    given = (packed, torch.randn(packed.shape, generator=rng), even, torch.zeros(4), scale, torch.ones(4))
    plain, as_one = (function(*(v.to(device) for v in given)) for function in (varied, as_compiled(varied)))
    for one, other in zip(plain, as_one, strict=True):
        torch.testing.assert_close(one, other, rtol=1e-4, atol=1e-5)


def test_nothing_is_compiled_on_a_cpu():
    net = StrokeNet()
    compile_net(net, torch.device("cpu"))
    assert net._compiled_call_impl is None
    assert not can_compile(torch.device("cpu")) and compiled(losses, torch.device("cpu")) is losses


@pytest.mark.parametrize("lacks", ["nothing", "a compiler", "headers", "triton", "a newer card"])
def test_what_cannot_be_compiled_runs_plain(lacks, monkeypatch):
    """Training must not end for want of a compiler or of Python's headers, or on a card that Triton does not take."""
    monkeypatch.setattr(steps, "which", lambda name: None if lacks == "a compiler" else "/usr/bin/cc")
    monkeypatch.setattr(steps, "_headers", lambda: lacks != "headers")
    monkeypatch.setattr(steps, "find_spec", lambda name: None if lacks == "triton" else object())
    monkeypatch.setattr(torch.cuda, "get_device_capability", lambda _: (6, 1) if lacks == "a newer card" else (9, 0))
    assert can_compile(torch.device("cuda")) == (lacks == "nothing")


def test_headers_are_looked_for_where_they_lie(monkeypatch, tmp_path):
    monkeypatch.setattr(steps.sysconfig, "get_paths", lambda scheme: {"include": str(tmp_path)})
    assert not steps._headers()
    (tmp_path / "Python.h").touch()
    assert steps._headers()
