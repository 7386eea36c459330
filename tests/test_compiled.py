"""A compiled step learns what a plain one does: its gradients are numbers, and as near to those of full precision."""

from shutil import which

import pytest
import torch

from dialtell.model.net import StrokeNet
from dialtell.model.patches import SIDE
from dialtell.synth.terms import ZONES
from dialtell.train.loop import compile_net, losses
from dialtell.train.store import Batch

DIALS, PATCHES = 8, 24

pytestmark = [
    pytest.mark.skipif(which("cc") is None, reason="no C compiler"),
    pytest.mark.filterwarnings("ignore"),  # torch's compiler has many
]


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


def gradients(device, *, half, compiled):
    torch.manual_seed(0)
    net = StrokeNet().to(device)
    for module in net.modules():
        if isinstance(module, torch.nn.Dropout):
            module.p = 0.0
    if compiled and device == "cuda":
        compile_net(net, torch.device(device))
    elif compiled:
        net.compile(dynamic=False)
    given = batch(device)
    with torch.autocast(device, torch.bfloat16, enabled=half):
        output = net(given.patches, given.zone, given.resolution)
    losses(output, given).backward()
    found = {name: p.grad.cpu() for name, p in net.named_parameters() if p.grad is not None}
    # these move no output: softmax does not feel an offset
    return {name: value for name, value in found.items() if name not in ("attention.bias", "weigh.bias")}


@pytest.mark.parametrize("device", [
    pytest.param("cpu", marks=pytest.mark.slow),
    pytest.param("cuda", marks=pytest.mark.skipif(not torch.cuda.is_available(), reason="no CUDA device")),
])  # fmt: skip
def test_gradients_of_a_compiled_step(device):
    torch._dynamo.reset()
    exact = gradients(device, half=False, compiled=False)
    off = {}
    for compiled in (False, True):
        found = gradients(device, half=True, compiled=compiled)
        assert found.keys() == exact.keys() and all(torch.isfinite(value).all() for value in found.values())
        sizes = [float((found[name] - exact[name]).norm() / exact[name].norm()) for name in exact]
        off[compiled] = sorted(sizes)[len(sizes) // 2]
    assert 0 < off[True] < 1.5 * off[False] < 0.5
