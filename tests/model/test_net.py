"""What the net must not depend on, what it must, and what it costs."""

from copy import deepcopy

import numpy as np
import pytest
import torch
from torch import nn

from dialtell.model.net.net import Encoder, NetConfig, StrokeNet, count_parameters, folded
from dialtell.model.reading.patches import SIDE
from dialtell.synth.shared.terms import ZONES

SMALL = NetConfig(widths=(8, 12, 16, 24), code=20)


@pytest.fixture(scope="module")
def net():
    """A net whose batch norms and weights are not those of a fresh one, in eval mode."""
    torch.manual_seed(0)
    made = StrokeNet(SMALL)
    with torch.no_grad():
        for _ in range(3):
            made.train()(*bags(rows=3, patches=20, seed=9))
    return made.eval()


def bags(rows=2, patches=14, seed=1):
    torch.manual_seed(seed)
    density = torch.rand(rows, patches, SIDE, SIDE)
    zone = torch.randint(0, 3, (rows, patches))
    zone[:, -1] = 3
    return density, zone, torch.linspace(-2.0, 0.5, rows)


def outputs(net, *given):
    with torch.no_grad():
        return net(*given)


def assert_same(one, other, patch=None, tolerance=1e-5):
    for name in ("dial", "zone", "photographic"):
        assert torch.allclose(getattr(one, name), getattr(other, name), atol=tolerance), name
    assert torch.equal(one.present, other.present)
    if patch is not None:
        assert torch.allclose(one.patch, other.patch[patch], atol=tolerance)


def test_padding_changes_nothing(net):
    density, zone, resolution = bags()
    wide = torch.cat([density, torch.full((2, 9, SIDE, SIDE), 1.7)], dim=1)
    label = torch.cat([zone, torch.full((2, 9), -1)], dim=1)
    assert_same(outputs(net, density, zone, resolution), outputs(net, wide, label, resolution), np.s_[:, :14])


def test_order_of_patches_changes_nothing(net):
    density, zone, resolution = bags()
    order = torch.randperm(14)
    one, other = outputs(net, density, zone, resolution), outputs(net, density[:, order], zone[:, order], resolution)
    assert_same(one, other)
    assert torch.allclose(one.patch[:, order], other.patch, atol=1e-5)


def test_dials_of_a_batch_do_not_meet(net):
    density, zone, resolution = bags(rows=4)
    together = outputs(net, density, zone, resolution)
    for row in range(4):
        alone = outputs(net, density[row : row + 1], zone[row : row + 1], resolution[row : row + 1])
        assert torch.allclose(alone.dial, together.dial[row : row + 1], atol=1e-5)
        assert torch.allclose(alone.zone, together.zone[row : row + 1], atol=1e-5)


def test_zones_without_patches(net):
    density, zone, resolution = bags()
    output = outputs(net, density, zone, resolution)
    assert output.present.shape == (2, len(ZONES)) and not output.present[:, 4].any() and output.present[:, 3].all()
    # what an absent zone would say does not reach the dial: its head may hold anything
    empty = torch.full_like(zone, -1)
    nothing = outputs(net, density, empty, resolution)
    assert not nothing.present.any()
    assert all(torch.isfinite(getattr(nothing, name)).all() for name in ("dial", "zone", "patch", "photographic"))


def test_absent_zones_weigh_nothing_in_the_dial(net):
    """Pooled features of absent zones are replaced by noise: the dial's logit stays."""
    density, zone, resolution = bags()
    before = outputs(net, density, zone, resolution).dial
    changed = []

    def disturb(module, given):
        (pooled,) = given
        noise = torch.zeros_like(pooled[..., :1])
        noise[:, 4] = 5.0
        changed.append(True)
        return (pooled + noise,)

    hook = net.weigh.register_forward_pre_hook(disturb)
    after = outputs(net, density, zone, resolution).dial
    hook.remove()
    assert changed and torch.allclose(before, after, atol=1e-6)


def test_zones_and_resolution_are_told(net):
    density, zone, resolution = bags()
    one = outputs(net, density, zone, resolution)
    assert (outputs(net, density, zone, resolution - 2).dial - one.dial).abs().max() > 1e-5
    other = torch.where(zone == 0, 1, zone)
    assert (outputs(net, density, other, resolution).dial - one.dial).abs().max() > 1e-5


@pytest.mark.parametrize(("left_out", "kept"), [("spread", "texture"), ("texture", "spread")])
def test_one_half_of_the_evidence_can_be_left_out(left_out, kept):
    """Without spread or texture its columns of the heads are dead, the other's are not."""
    torch.manual_seed(0)
    net = StrokeNet(NetConfig(widths=SMALL.widths, code=SMALL.code, **{left_out: False})).eval()
    density, zone, resolution = bags()
    (net(density, zone, resolution).zone.sum()).backward()
    gradient = net.zone_head[0].weight.grad
    columns = {"texture": slice(0, SMALL.code), "spread": slice(SMALL.code, 2 * SMALL.code)}
    assert gradient[:, columns[left_out]].abs().max() == 0
    assert gradient[:, columns[kept]].abs().max() > 0


def test_spread_tells_like_strokes_from_unlike(net):
    """Texture held fixed, equal patches give the pooled spread its least value, and different ones more."""
    seen = []
    hook = net.zone_head.register_forward_pre_hook(lambda module, given: seen.append(given[0]))
    density, _, resolution = bags()
    zone = torch.zeros(2, 14, dtype=torch.long)
    outputs(net, density[:, :1].expand(-1, 14, -1, -1), zone, resolution)
    outputs(net, density, zone, resolution)
    hook.remove()
    like, unlike = (pooled[:, 0, SMALL.code : 2 * SMALL.code].mean() for pooled in seen)
    assert like < 0.01 and unlike > 2 * like


def test_training_reaches_every_weight():
    net = StrokeNet(SMALL)
    output = net(*bags(rows=3, patches=30))
    (output.dial.sum() + output.zone.sum() + output.patch.sum() + output.photographic.sum()).backward()
    assert [name for name, p in net.named_parameters() if p.grad is None or not p.grad.abs().any()] == []


def counted(net, given):
    """Multiply-adds of all convolutions, by hooks on their outputs."""
    total = []
    hooks = [
        m.register_forward_hook(lambda m, _, out: total.append(m.weight.numel() * out.shape[-1] * out.shape[-2]))
        for m in net.modules()
        if isinstance(m, nn.Conv2d)
    ]
    outputs(net.eval(), given)
    for hook in hooks:
        hook.remove()
    return sum(total)


def test_folded_says_the_same(net):
    given = torch.rand(2, 9, SIDE, SIDE), torch.randint(0, 4, (2, 9)), torch.tensor([-1.0, 0.3])
    short = folded(net)
    assert not any(isinstance(module, torch.nn.BatchNorm2d) for module in short.modules())
    assert any(isinstance(module, torch.nn.BatchNorm2d) for module in net.modules())
    with torch.no_grad():
        for name in ("dial", "zone", "patch", "photographic"):
            torch.testing.assert_close(getattr(short(*given), name), getattr(net(*given), name), rtol=1e-4, atol=1e-4)
    assert not any(parameter.requires_grad for parameter in short.parameters())


def test_cost():
    config = NetConfig()
    assert count_parameters(StrokeNet(config)) < 2_000_000
    cost = counted(Encoder(config), torch.zeros(1, 1, SIDE, SIDE))
    from torchvision.models import resnet18

    other = counted(resnet18(), torch.zeros(1, 3, SIDE, SIDE))
    assert cost < 14.8e6 and cost < 0.1 * other


def test_a_patch_is_judged_beside_its_zone_and_its_dial(net):
    """Another patch of the dial changes what is said of it, also from another zone; without `beside` none does."""
    density, zone, resolution = bags(rows=1)
    changed = density.clone()
    changed[0, -1] += 0.5  # the only patch of its zone
    one, other = (outputs(net, some, zone, resolution).patch[0, :-1] for some in (density, changed))
    assert (one - other).abs().max() > 1e-4
    torch.manual_seed(0)
    alone = StrokeNet(NetConfig(widths=SMALL.widths, code=SMALL.code, beside=0)).eval()
    one, other = (outputs(alone, some, zone, resolution).patch[0, :-1] for some in (density, changed))
    assert torch.allclose(one, other, atol=1e-6)


def test_channels_lie_last_and_stay_so():
    """On a GPU the norms are several times slower where they do not; a copy and a round through a file keep it."""
    net = StrokeNet(SMALL)
    for module in (net, deepcopy(net)):
        kernels = [m.weight for m in module.encoder.modules() if isinstance(m, nn.Conv2d) and m.in_channels > 1]
        assert kernels and all(k.is_contiguous(memory_format=torch.channels_last) for k in kernels)
