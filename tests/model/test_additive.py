"""That the reasons of the additive net add up to what it says, whatever the bag, and what it must and must not see."""

import math

import numpy as np
import pytest
import torch

from dialtell.model.net.additive import AdditiveNet, build_net
from dialtell.model.net.calibration import Calibration
from dialtell.model.net.likeness import LOOK, compared, looked
from dialtell.model.net.net import NetConfig, StrokeNet, count_parameters, folded
from dialtell.model.reading.patches import SIDE
from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.shared.terms import ZONES
from dialtell.train.stats.discrimination import auc

SMALL = NetConfig(widths=(8, 12, 16, 24), code=20, beside=16, additive=True)


def bags(rows=3, patches=14, seed=1):
    torch.manual_seed(seed)
    zone = torch.randint(-1, 3, (rows, patches))
    zone[:, -1] = 3
    scale = torch.randint(0, 3, (rows, patches)).float()
    return torch.rand(rows, patches, SIDE, SIDE) * 1.4 - 0.2, zone, torch.linspace(-2.0, 2.0, rows), scale


@pytest.fixture(scope="module")
def net():
    """Random weights everywhere, the exponents too, and norms that have seen something."""
    torch.manual_seed(0)
    made = AdditiveNet(SMALL)
    with torch.no_grad():
        for parameter in [*made.place.parameters(), *made.pair.parameters(), *made.weigh.parameters()]:
            parameter.normal_(0, 0.4)
        made.witness.normal_()
        for _ in range(3):
            made.train()(*bags(patches=20, seed=9))
    return made.eval()


def outputs(net, *given):
    with torch.no_grad():
        return net(*given)


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
    calibration = Calibration(2.7, -0.8, -20, 20, bounds=((-1.5, 0.4),))
    for row in range(rows):
        level = float(resolution[row])
        stated, _ = calibration.log10_lr(float(output.dial[row]), level)
        times, more = calibration.affine(level)
        reasons = output.reasons.each(lambda value, at=row, by=times: value[at].double() * by)
        added = float(reasons.place_dial.sum() + reasons.pair_dial.sum() + reasons.dial_base) + more
        assert added == pytest.approx(stated, abs=1e-4)


def test_order_batch_and_padding_change_nothing(net):
    density, zone, resolution, scale = bags()
    whole = outputs(net, density, zone, resolution, scale)
    order = torch.randperm(14)
    turned = outputs(net, density[:, order], zone[:, order], resolution, scale[:, order])
    wide = outputs(
        net,
        torch.cat([density, torch.full((3, 9, SIDE, SIDE), 1.7)], dim=1),
        torch.cat([zone, torch.full((3, 9), -1)], dim=1),
        resolution,
        torch.cat([scale, torch.zeros(3, 9)], dim=1),
    )
    for other in (turned, wide):
        for name in ("dial", "zone", "photographic"):
            torch.testing.assert_close(getattr(other, name), getattr(whole, name), rtol=1e-4, atol=1e-5)
    torch.testing.assert_close(turned.reasons.place_dial, whole.reasons.place_dial[:, order], rtol=1e-4, atol=1e-5)
    torch.testing.assert_close(wide.reasons.place_dial[:, :14], whole.reasons.place_dial, rtol=1e-4, atol=1e-5)
    assert not wide.reasons.place_dial[:, 14:].any() and (wide.reasons.pair_with[:, 14:] == -1).all()
    for row in range(3):
        alone = outputs(net, *(value[row : row + 1] for value in (density, zone, resolution, scale)))
        torch.testing.assert_close(alone.dial, whole.dial[row : row + 1], rtol=1e-4, atol=1e-5)


def test_an_empty_bag_says_nothing(net):
    density, zone, resolution, scale = bags()
    output = outputs(net, density, torch.full_like(zone, -1), resolution, scale)
    assert not output.present.any()
    assert not output.dial.any() and not output.zone.any()
    assert torch.isfinite(output.photographic).all() and torch.isfinite(output.zone).all()


def test_pairs_are_of_one_zone_and_scale(net):
    density, zone, resolution, scale = bags(patches=40)
    beside = outputs(net, density, zone, resolution, scale).reasons.pair_with
    found = beside >= 0
    assert found.any() and (~found).any()
    for values in (zone, scale):
        other = values.gather(1, beside.clamp(min=0).flatten(1)).view_as(beside)
        assert torch.equal(other[found], values[:, :, None].expand_as(beside)[found])
    assert (beside != torch.arange(40)[None, :, None]).all()


def test_scale_and_resolution_are_told(net):
    density, zone, resolution, scale = bags()
    one = outputs(net, density, zone, resolution, scale).dial
    assert (outputs(net, density, zone, resolution - 1, scale).dial - one).abs().max() > 1e-4
    assert (outputs(net, density, zone, resolution, scale + 1).dial - one).abs().max() > 1e-4
    plain = outputs(net, density, zone, resolution, torch.zeros_like(scale)).dial
    torch.testing.assert_close(outputs(net, density, zone, resolution).dial, plain)


def test_the_earlier_net_looks_at_one_scale_alone():
    torch.manual_seed(0)
    old = StrokeNet(NetConfig(widths=SMALL.widths, code=20)).eval()
    density, zone, resolution, scale = bags()
    one = outputs(old, density, zone, resolution, scale)
    changed = torch.where((scale > 0)[..., None, None], density + 0.3, density)
    torch.testing.assert_close(outputs(old, changed, zone, resolution, scale).dial, one.dial)
    assert (outputs(old, density, zone, resolution).dial - one.dial).abs().max() > 1e-5


def test_training_reaches_every_weight():
    torch.manual_seed(0)
    made = AdditiveNet(SMALL)
    output = made(*bags(patches=30))
    (output.dial.sum() + output.zone.sum() + output.patch.sum() + output.photographic.sum()).backward()
    assert [name for name, p in made.named_parameters() if p.grad is None or not p.grad.abs().any()] == []


def test_folded_says_the_same(net):
    given = bags()
    with torch.no_grad():
        one, other = net(*given), folded(net)(*given)
    torch.testing.assert_close(other.dial, one.dial, rtol=1e-3, atol=1e-4)
    torch.testing.assert_close(other.reasons.place_dial, one.reasons.place_dial, rtol=1e-3, atol=1e-4)


def test_size():
    made = build_net(NetConfig(additive=True))
    assert isinstance(made, AdditiveNet) and 2e5 < count_parameters(made) < 1e6
    assert not isinstance(build_net(NetConfig()), AdditiveNet)
    with pytest.raises(ParameterError, match="needs additive"):
        AdditiveNet(NetConfig())


# --- likeness ---


def strokes(shifts, widths, noise=0.01, seed=0):
    """Upright strokes, soft-edged, on bare enamel: (N, SIDE, SIDE)."""
    rng = np.random.default_rng(seed)
    x = np.arange(SIDE) - SIDE / 2 + 0.5
    made = []
    for shift, width in zip(shifts, widths, strict=True):
        across = 1 / (1 + np.exp((np.abs(x - shift) - width / 2) / 0.8))
        along = 1 / (1 + np.exp((np.abs(x) - 18) / 0.8))
        made.append(along[:, None] * across[None] + noise * rng.standard_normal((SIDE, SIDE)))
    return torch.tensor(np.array(made), dtype=torch.float32)


def likeness(patches, most=2):
    count = len(patches)
    return compared(looked(patches)[None], torch.zeros(1, count, dtype=torch.long), torch.zeros(1, count), most)


def test_shifted_copies_are_alike_down_to_the_noise_and_others_are_not():
    same = likeness(strokes([0.0, 1.3, -1.6, 2.1], [8.0] * 4))
    unlike = likeness(strokes([0.0, 1.3, -1.6, 2.1], [5.0, 7.0, 9.0, 11.0]))
    assert same.alike.min() > 0.99 > unlike.alike.mean()
    over = (same.residual - same.floor[:, None, None]).max()
    assert over < 2.4 < (unlike.residual - unlike.floor[:, None, None]).min()


def test_the_floor_is_the_photographs_noise():
    bare, some, much = (float(likeness(strokes([0.0] * 5, [8.0] * 5, noise)).floor) for noise in (0.0, 0.04, 0.08))
    assert much - some == pytest.approx(math.log(2), abs=0.08) and bare < some - 0.5
    # what two patches of that noise do differ by on bare enamel
    looks = looked(strokes([0.0] * 2, [8.0] * 2, 0.08)).unflatten(1, (LOOK, LOOK))[:, :, :8]
    assert much == pytest.approx(float((looks[0] - looks[1]).square().mean().sqrt().log()), abs=0.5)


def test_the_nearest_are_found():
    found = likeness(strokes([0.0, 0.5, 0.0, 0.5], [5.0, 5.0, 11.0, 11.0]), most=1).beside[0, :, 0]
    assert found.tolist() == [1, 0, 3, 2]


def test_bags_of_one_patch_have_no_pair():
    found = likeness(torch.zeros(1, SIDE, SIDE))
    assert found.beside.tolist() == [[[-1]]] and LOOK * 2 == SIDE
    assert torch.isfinite(found.residual).all() and torch.isfinite(found.floor).all()


def test_zone_by_zone_says_the_same_as_all_at_once():
    torch.manual_seed(5)
    zone, scale = torch.randint(-1, 4, (3, 40)), torch.randint(0, 3, (3, 40)).float()
    zone[2] = -1
    looks = looked(strokes(torch.randn(120).tolist(), torch.linspace(4, 12, 120).tolist(), 0.05)).unflatten(0, (3, 40))
    one, other = (compared(looks, zone, scale, 4, apart=apart) for apart in (False, True))
    assert torch.equal(other.beside, one.beside) and 0.3 < (one.beside >= 0).float().mean() < 0.6
    real = one.beside >= 0
    torch.testing.assert_close(other.floor, one.floor)
    for name in ("alike", "residual"):
        torch.testing.assert_close(getattr(other, name)[real], getattr(one, name)[real], rtol=1e-4, atol=1e-4)


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
    generator, made, steps = torch.Generator().manual_seed(1), AdditiveNet(SMALL), 36
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
