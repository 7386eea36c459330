"""What the net must not depend on, what it must, that its reasons add up to what it says, and what it costs."""

from copy import deepcopy
from dataclasses import replace

import numpy as np
import pytest
import torch
from torch import nn

from dialtell.model.net.calibration import Calibration
from dialtell.model.net.encoder import Encoder
from dialtell.model.net.net import NetConfig, StrokeNet, count_parameters
from dialtell.model.reading.patches import SIDE
from dialtell.model.weights.modules import folded
from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.shared.terms import ZONES
from dialtell.train.stats.discrimination import auc

SMALL = NetConfig(widths=(8, 12, 16, 24), code=20, beside=16)


def bags(rows=3, patches=14, seed=1):
    torch.manual_seed(seed)
    zone = torch.randint(-1, 3, (rows, patches))
    zone[:, -1] = 3
    scale = torch.randint(-1, 4, (rows, patches)) / 2  # of the lattice and of single shapes
    return torch.rand(rows, patches, SIDE, SIDE) * 1.4 - 0.2, zone, torch.linspace(-2.0, 2.0, rows), scale


@pytest.fixture(scope="module")
def net():
    """Random weights everywhere, the exponents too, and norms that have seen something."""
    torch.manual_seed(0)
    made = StrokeNet(SMALL)
    with torch.no_grad():
        for parameter in made.voices.parameters():
            parameter.normal_(0, 0.3)
        for voice in made.voices:
            voice.witness.normal_()
        for _ in range(3):
            made.train()(*bags(patches=20, seed=9))
    return made.eval()


def outputs(net, *given):
    with torch.no_grad():
        return net(*given)


def assert_same(one, other, of=np.s_[:], tolerance=1e-5):
    """of : the patches of `other` that are those of `one`, in the same order."""
    for name in ("dial", "zone", "photographic"):
        torch.testing.assert_close(getattr(other, name), getattr(one, name), rtol=1e-4, atol=tolerance)
    assert torch.equal(one.present, other.present)
    for mine, theirs in ((one.patch, other.patch), (one.reasons.place_dial, other.reasons.place_dial)):
        torch.testing.assert_close(theirs[:, of], mine, rtol=1e-4, atol=tolerance)


# --- what it says is the sum of its reasons ---


def sums(output, zone):
    """(B,) and (B, Z) what the reasons add up to, in doubles."""
    reasons = output.reasons.each(lambda value: value.double())
    dial = reasons.dial_base + reasons.place_dial.sum(1) + reasons.pair_dial.sum((1, 2))
    each = reasons.place_zone + reasons.pair_zone.sum(2)
    zones = torch.stack([reasons.zone_base[:, z] + (each * (zone == z)).sum(1) for z in range(len(ZONES))], dim=1)
    return dial, zones


@pytest.mark.parametrize(("rows", "patches", "seed"), [(1, 6, 2), (3, 14, 3), (5, 40, 4), (2, 2, 5), (1, 90, 6)])
def test_the_reasons_add_up(net, rows, patches, seed):
    density, zone, resolution, scale = bags(rows, patches, seed)
    output = outputs(net, density, zone, resolution, scale)
    dial, zones = sums(output, zone)
    assert (output.dial - dial).abs().max() < 1e-5 and (output.zone - zones).abs().max() < 1e-5
    assert output.dial.abs().max() > 1e-2
    calibration = Calibration(0.27, -0.8, -20, 20, bounds=((-1.5, 0.4),))
    for row in range(rows):
        level = float(resolution[row])
        stated, _ = calibration.log10_lr(float(output.dial[row]), level)
        times, more = calibration.affine(level)
        reasons = output.reasons.each(lambda value, at=row, by=times: value[at].double() * by)
        added = float(reasons.place_dial.sum() + reasons.pair_dial.sum() + reasons.dial_base) + more
        assert added == pytest.approx(stated, abs=1e-4)


# --- what it must not depend on ---


def test_padding_changes_nothing(net):
    density, zone, resolution, scale = bags()
    wide = outputs(
        net,
        torch.cat([density, torch.full((3, 9, SIDE, SIDE), 1.7)], dim=1),
        torch.cat([zone, torch.full((3, 9), -1)], dim=1),
        resolution,
        torch.cat([scale, torch.zeros(3, 9)], dim=1),
    )
    assert_same(outputs(net, density, zone, resolution, scale), wide, np.s_[:14])
    assert not wide.reasons.place_dial[:, 14:].any() and (wide.reasons.pair_with[:, 14:] == -1).all()


def test_order_of_patches_changes_nothing(net):
    density, zone, resolution, scale = bags()
    order = torch.randperm(14)
    turned = outputs(net, density[:, order], zone[:, order], resolution, scale[:, order])
    assert_same(outputs(net, density, zone, resolution, scale), turned, order.argsort())


def test_dials_of_a_batch_do_not_meet(net):
    given = bags(rows=4)
    together = outputs(net, *given)
    for row in range(4):
        assert_same(together.row(row), outputs(net, *(value[row : row + 1] for value in given)))


def test_zones_without_patches(net):
    output = outputs(net, *bags())
    assert output.present.shape == (3, len(ZONES)) and not output.present[:, 4].any() and output.present[:, 3].all()
    assert not output.zone[:, 4].any()


def test_an_empty_bag_says_nothing(net):
    density, zone, resolution, scale = bags()
    output = outputs(net, density, torch.full_like(zone, -1), resolution, scale)
    assert not output.present.any()
    assert not output.dial.any() and not output.zone.any()
    assert torch.isfinite(output.photographic).all() and torch.isfinite(output.zone).all()


def test_absent_zones_weigh_nothing_in_the_dial(net):
    """Pooled features of an absent zone are replaced by noise: the dial's logit stays."""
    given, changed = bags(), []
    before = outputs(net, *given).dial

    def disturb(module, seen):
        (pooled,) = seen
        noise = torch.zeros_like(pooled[..., :1])
        noise[:, 4] = 5.0
        changed.append(True)
        return (pooled + noise,)

    hooks = [voice.weigh.register_forward_pre_hook(disturb) for voice in net.voices]
    after = outputs(net, *given).dial
    for hook in hooks:
        hook.remove()
    assert len(changed) == 2 and torch.equal(before, after)


# --- what it must ---


def test_pairs_are_of_one_zone_and_scale(net):
    density, zone, resolution, scale = bags(patches=40)
    beside = outputs(net, density, zone, resolution, scale).reasons.pair_with
    found = beside >= 0
    assert found.any() and (~found).any()
    for values in (zone, scale):
        other = values.gather(1, beside.clamp(min=0).flatten(1)).view_as(beside)
        assert torch.equal(other[found], values[:, :, None].expand_as(beside)[found])
    assert (beside != torch.arange(40)[None, :, None]).all()


def test_zones_scale_and_resolution_are_told(net):
    density, zone, resolution, scale = bags()
    one = outputs(net, density, zone, resolution, scale).dial
    assert (outputs(net, density, zone, resolution - 1, scale).dial - one).abs().max() > 1e-4
    assert (outputs(net, density, zone, resolution, scale + 1).dial - one).abs().max() > 1e-4
    assert (outputs(net, density, torch.where(zone == 0, 1, zone), resolution, scale).dial - one).abs().max() > 1e-4
    plain = outputs(net, density, zone, resolution, torch.zeros_like(scale)).dial
    torch.testing.assert_close(outputs(net, density, zone, resolution).dial, plain)


@pytest.mark.parametrize("left_out", ["spread", "texture"])
def test_one_half_of_the_evidence_can_be_left_out(left_out):
    """Then one voice speaks alone: without spread the one that looks, which hears of no spread and no pairs."""
    torch.manual_seed(0)
    made = StrokeNet(NetConfig(**SMALL.record() | {left_out: False})).eval()
    (voice,) = made.voices
    output = made(*bags())
    assert voice.looks == (left_out == "spread") and not output.voices
    output.zone.sum().backward()
    told = voice.place[0].weight.grad[:, : 2 * SMALL.code].unflatten(1, (2, SMALL.code)).abs().amax((0, 2))
    assert (told > 0).all() and (output.reasons.pair_with >= 0).any() == (left_out == "texture")
    if voice.looks:
        assert not voice.place[0].weight.grad[:, 2 * SMALL.code :].any() and voice.pairs == 0
    with pytest.raises(ParameterError, match="both off"):
        StrokeNet(NetConfig(spread=False, texture=False))


def test_two_voices_speak_with_equal_weight(net):
    output = outputs(net, *bags())
    looking, comparing = output.voices
    for name in ("dial", "zone", "patch"):
        torch.testing.assert_close(getattr(output, name), (getattr(looking, name) + getattr(comparing, name)) / 2)
    for voice in output.voices:
        dial, zones = sums(voice, bags()[1])
        assert (voice.dial - dial).abs().max() < 1e-5 and (voice.zone - zones).abs().max() < 1e-5
    assert (looking.dial - comparing.dial).abs().min() > 1e-3


def test_what_all_strokes_of_a_kind_share_is_nothing_to_the_voice_that_compares(net):
    """Codes of all patches moved by the same: what a camera does to them all. The other voice hears it."""
    seen = []
    hook = net.voices[0].register_forward_pre_hook(lambda module, given: seen.append(given[0]))
    outputs(net, *bags())
    hook.remove()
    (one,) = seen
    by = torch.linspace(-0.5, 0.5, SMALL.code)
    there = one.kinds.any(1)[..., None]
    moved = replace(
        one, code=one.code + by * (one.member.sum(2) > 0)[..., None], middles=one.middles + by * there,
        mine=one.mine + by, other=one.other + by,
    )  # fmt: skip
    with torch.no_grad():
        looked, compared = ([voice(given).dial for given in (one, moved)] for voice in net.voices)
    torch.testing.assert_close(compared[0], compared[1], rtol=1e-4, atol=1e-5)
    assert (looked[0] - looked[1]).abs().min() > 1e-2


def test_spread_tells_like_strokes_from_unlike(net):
    """Texture held fixed, equal patches give the pooled spread its least value, and different ones more."""
    seen = []
    hook = net.voices[0].weigh.register_forward_pre_hook(lambda module, given: seen.append(given[0]))
    density, _, resolution, _ = bags()
    zone = torch.zeros(3, 14, dtype=torch.long)
    outputs(net, density[:, :1].expand(-1, 14, -1, -1), zone, resolution)
    outputs(net, density, zone, resolution)
    hook.remove()
    like, unlike = (pooled[:, 0, SMALL.code : 2 * SMALL.code].mean() for pooled in seen)
    assert like < 0.01 and unlike > 2 * like


def test_a_patch_is_judged_beside_its_zone_and_no_other(net):
    """Another patch of its zone changes what is said of it; one of another zone changes nothing."""
    density, zone, resolution, scale = bags(rows=1)
    zone[0, :-1], zone[0, -1] = 0, 1

    def said(changed):
        other = density.clone()
        other[0, changed] += 0.5
        return outputs(net, other, zone, resolution, scale)

    plain = outputs(net, density, zone, resolution, scale)
    assert (said(1).patch[0, 2:-1] - plain.patch[0, 2:-1]).abs().max() > 1e-4
    assert torch.equal(said(-1).patch[0, :-1], plain.patch[0, :-1])
    assert torch.equal(said(-1).zone[0, 0], plain.zone[0, 0])


def test_training_reaches_every_weight():
    torch.manual_seed(0)
    made = StrokeNet(SMALL)
    output = made(*bags(patches=30))
    said = (output.dial, output.zone, output.patch, output.photographic)
    torch.stack([each.sum() for each in said]).sum().backward()
    assert [name for name, p in made.named_parameters() if p.grad is None or not p.grad.abs().any()] == []


# --- what it costs ---


def test_folded_says_the_same(net):
    given, short = bags(), folded(net)
    assert not any(isinstance(module, nn.BatchNorm2d) for module in short.modules())
    assert any(isinstance(module, nn.BatchNorm2d) for module in net.modules())
    assert_same(outputs(net, *given), outputs(short, *given), tolerance=1e-4)
    assert not any(parameter.requires_grad for parameter in short.parameters())


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


def test_cost():
    config = NetConfig()
    assert 2e5 < count_parameters(StrokeNet(config)) < 1e6
    cost = counted(Encoder(config.widths, config.code), torch.zeros(1, 1, SIDE, SIDE))
    from torchvision.models import resnet18

    other = counted(resnet18(), torch.zeros(1, 3, SIDE, SIDE))
    assert cost < 14.8e6 and cost < 0.1 * other


def test_channels_lie_last_and_stay_so():
    """On a GPU the norms are several times slower where they do not; a copy and a round through a file keep it."""
    net = StrokeNet(SMALL)
    for module in (net, deepcopy(net)):
        kernels = [m.weight for m in module.encoder.modules() if isinstance(m, nn.Conv2d) and m.in_channels > 1]
        assert kernels and all(k.is_contiguous(memory_format=torch.channels_last) for k in kernels)


# --- repetition ---


def repeated_or_not(dials, generator, noise=0.03):
    """Dials of 10 strokes in two zones, three of ten at twice the scale, put down a little off: even ones one stroke
    a zone repeated, odd ones each stroke of its own width, length and tilt (a tenth, a tenth, three degrees)."""
    varied = (torch.arange(dials) % 2).float()
    zone, scale = torch.arange(10).expand(dials, 10) % 2, (torch.arange(10) < 3).float().expand(dials, 10)
    design = torch.rand((dials // 2, 2, 3), generator=generator).repeat_interleave(2, 0)
    width, length, tilt = design.gather(1, zone[..., None].expand(-1, -1, 3)).unbind(2)
    own = 0.1 * torch.randn((3, dials, 10), generator=generator) * varied[:, None]
    times = torch.exp2(scale)
    sides = ((4 + 6 * width) * own[0].exp() * times, (24 + 20 * length) * own[1].exp() * times)
    turn = (0.3 * (tilt - 0.5) + 0.5 * own[2])[..., None, None]
    place = torch.arange(SIDE) - SIDE / 2 + 0.5 - torch.randn((2, dials, 10, 1), generator=generator)
    x, y = place[0, :, :, None], place[1, ..., None]
    across, along = x * turn.cos() + y * turn.sin(), y * turn.cos() - x * turn.sin()
    inside = [
        torch.sigmoid((side[..., None, None] / 2 - at.abs()) / (0.8 * times[..., None, None]))
        for side, at in zip(sides, (across, along), strict=True)
    ]
    density = inside[0] * inside[1]
    density += noise * torch.randn(density.shape, generator=generator)
    return (density, zone, torch.zeros(dials), scale), varied


def test_repetition_is_learnt_within_seconds_at_every_scale():
    torch.manual_seed(0)
    generator, made, steps = torch.Generator().manual_seed(1), StrokeNet(SMALL), 36
    optimizer = torch.optim.AdamW(made.parameters(), betas=(0.9, 0.98))
    rate = torch.optim.lr_scheduler.OneCycleLR(optimizer, 6e-3, total_steps=steps)
    for _ in range(steps):
        given, varied = repeated_or_not(6, generator)
        dial = made(*given).dial
        loss = torch.nn.functional.binary_cross_entropy_with_logits(dial, varied)
        (loss + torch.nn.functional.softplus(dial[::2] - dial[1::2]).mean()).backward()
        optimizer.step()
        optimizer.zero_grad()
        rate.step()
    given, varied = repeated_or_not(60, generator)
    output = outputs(made.eval(), *given)
    assert auc(varied.numpy(), output.dial.numpy()) > 0.95
    for fine in (0, 1):  # by the pairs of either scale
        pairs = output.reasons.pair_dial * (given[3] == fine)[..., None]
        assert auc(varied.numpy(), pairs.sum((1, 2)).numpy()) > 0.9
