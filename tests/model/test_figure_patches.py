"""Patches of single shapes: equal figures meet wherever they stand and however they are turned, their neighbours left
out; what is hidden or of no figure's size is none; the net's sum with them is exact."""

import math
from dataclasses import replace

import cv2
import numpy as np
import pytest
import torch
from test_patches import HIDING, SEEN, TILTED, zone_map

from dialtell.model.net.calibration import Calibration
from dialtell.model.net.explanation import explain
from dialtell.model.net.in_torch import asked, said
from dialtell.model.net.likeness import compared, looked
from dialtell.model.net.net import NetConfig, StrokeNet
from dialtell.model.reading.figure_patches import FILLED, LEVELS, MOST, _levels, _some, with_figures
from dialtell.model.reading.patches import SCALE, SIDE, SPAN, PatchSet, cut_patches, reduced
from dialtell.synth.shared.terms import ZONES, Zone
from dialtell.train.bags.bags import Bag, pack
from dialtell.train.run import store
from dialtell.train.run.store import BagStore, HeldOut

ZOOM = 1.6
GEOMETRY = TILTED.scaled(ZOOM)
FACE = 900  # px per dial radius of the drawing
FIGURES = [str(hour) for hour in range(1, 13)]


def face(turned, dots=()):
    """D of a dial face on: twelve figures, upright or their heads outwards, their digits apart."""
    side = round(2.1 * FACE)
    plane = np.zeros((side, side), np.float32)
    for hour, text in enumerate(FIGURES, start=1):
        box = np.zeros((240, 360), np.uint8)
        for place, digit in enumerate(text):
            across = round(180 + 85 * (place - 0.5 * len(text)))
            cv2.putText(box, digit, (across, 160), cv2.FONT_HERSHEY_DUPLEX, 3.4, 255, 11, cv2.LINE_AA)
        angle = math.radians(30 * hour)
        x, y = (side / 2 + 0.74 * FACE * v for v in (math.sin(angle), -math.cos(angle)))
        turn = -math.degrees(angle) if turned else 0.0  # OpenCV turns against the clock
        matrix = cv2.getRotationMatrix2D((180, 120), turn, 1.0)
        matrix[:, 2] += (x - 180, y - 120)
        plane = np.maximum(plane, cv2.warpAffine(box, matrix, (side, side)).astype(np.float32) / 255)
    for x, y, radius in dots:
        cv2.circle(plane, (round(side / 2 + x * FACE), round(side / 2 + y * FACE)), round(radius * FACE), 1.0, -1)
    return cv2.GaussianBlur(plane, (0, 0), 2.0)


def photograph(plane):
    """The face as TILTED sees it."""
    rows, columns = np.indices((round(ZOOM * 800), round(ZOOM * 810)))
    points = GEOMETRY.to_dial(np.stack([columns + 0.5, rows + 0.5], axis=-1).astype(float)) * FACE + len(plane) / 2
    return cv2.remap(plane, *(points[..., k].astype(np.float32) - 0.5 for k in (0, 1)), cv2.INTER_LINEAR)


def cut(density, zones=None, resolved=SCALE):
    zones = zone_map() if zones is None else zones
    coarse = cut_patches(density, GEOMETRY, zones, 0.0, resolved)
    return with_figures(coarse, reduced(density, GEOMETRY), (density, GEOMETRY), zones, resolved)


@pytest.fixture(scope="module")
def upright():
    return cut(photograph(face(turned=False)))


@pytest.fixture(scope="module")
def outwards():
    return cut(photograph(face(turned=True)))


def nearest(patches):
    fine = patches.fine
    zone, scale = torch.from_numpy(fine.zone)[None], torch.from_numpy(fine.scales)[None]
    return compared(looked(torch.from_numpy(fine.density))[None], zone, scale, 1)


@pytest.mark.parametrize("which", ["upright", "outwards"])
def test_equal_digits_meet_wherever_they_stand(which, request):
    """Fifteen digits of twelve hours; five are 1, two are 2, of the others there is one each."""
    patches = request.getfixturevalue(which)
    fine = patches.fine
    assert len(fine) == 15 and (fine.zone == ZONES.index(Zone.NUMERALS)).all() and len(set(fine.scales)) == 1
    found = nearest(patches)
    least, order = found.residual[0, :, 0].sort()
    assert least[6] < least[7] - 0.3
    turn = np.degrees(np.arctan2(fine.right[:, 1], fine.right[:, 0]))
    hour = np.degrees(np.arctan2(fine.center[:, 0], -fine.center[:, 1]))
    assert sorted((np.round(hour[order[:7]] / 30) % 12).tolist()) == [0, 0, 1, 2, 10, 11, 11]
    expected = np.zeros(15) if which == "upright" else 30 * np.round(hour / 30)
    assert np.abs((turn - expected + 180) % 360 - 180).max() < 1e-6


def test_the_lattice_is_as_it_was(upright):
    coarse = cut_patches(photograph(face(turned=False)), GEOMETRY, zone_map(), 0.0, SCALE)
    for name in ("density", "zone", "center", "right", "ink"):
        assert np.array_equal(getattr(upright, name), getattr(coarse, name))


def test_a_shape_lies_in_the_middle_alone(upright):
    """The photograph where the shape is, nothing of its neighbour: each digit of 10 has one piece in its patch."""
    fine = upright.fine
    shown = photograph(face(turned=False))
    grids = fine.grids(GEOMETRY) - np.float32(0.5)
    seen = np.stack([cv2.remap(shown, g[..., 0].copy(), g[..., 1].copy(), cv2.INTER_LINEAR) for g in grids])
    ink = fine.density > 0.4
    assert np.abs(fine.density * fine.full - seen)[ink].max() < 0.15
    for patch in ink:
        rows, columns = np.nonzero(patch)
        middle = 0.5 * (rows.min() + rows.max()), 0.5 * (columns.min() + columns.max())
        assert np.abs(np.array(middle) - (SIDE - 1) / 2).max() < 3
        assert 0.4 * SIDE < max(np.ptp(rows), np.ptp(columns)) < FILLED * SIDE
        assert cv2.connectedComponents(patch.astype(np.uint8))[0] == 2
    assert (seen[:, [0, -1]] > 0.4).any() or ((seen > 0.4) & ~ink).any()  # there are neighbours to leave out


def test_what_is_hidden_or_of_another_size_is_no_figure():
    zones = zone_map()
    zones.seen[:, : len(zones.seen) // 2] = SEEN.index(HIDING[0])
    fine = cut(photograph(face(turned=False)), zones).fine
    assert 5 <= len(fine) <= 8 and fine.center[:, 0].min() > 0
    dots = ((0.0, -0.3, 0.004), (0.0, 0.0, 0.02), (0.0, 0.35, 0.2))  # a speck, a dot, a disc
    fine = cut(photograph(face(turned=False, dots=dots))).fine
    inner = fine.chosen(fine.zone == ZONES.index(Zone.SIGNATURE))
    assert len(inner) == 1 and np.hypot(*inner.center[0]) < 0.005 and inner.scales[0] == 0.5


def test_the_finest_scale_is_for_photographs_that_resolve_it():
    seen = photograph(face(turned=False, dots=((0.0, 0.0, 0.01),)))
    assert cut(seen, resolved=SCALE).fine.scales.max() == 0.5
    assert cut(seen, resolved=4 * SCALE).fine.scales.max() == 1.5


def test_bare_enamel_has_none():
    assert cut(np.zeros((round(ZOOM * 800), round(ZOOM * 810)), np.float32)).fine is None


def test_every_zone_has_some_of_the_most_there_may_be():
    zone = np.repeat([0, 1, 2], [5, 20, 300])
    chosen = _some(zone, np.linspace(-3, 3, 325))
    count = np.bincount(zone[chosen])
    assert count[:2].tolist() == [5, 20] and 40 <= count[2] and count.sum() <= MOST


def test_like_sizes_are_not_parted():
    """Sizes about what fills a patch of one scale: the scale ends at the gap."""
    end = FILLED * SPAN / 2 ** LEVELS[1]
    size = end * np.array([0.85, 0.87, 0.93, 0.96, 0.99, 1.01])
    level = _levels(size, np.zeros(6, np.int64), list(LEVELS[:3]))
    assert level.tolist() == [-0.5, -0.5, -1.5, -1.5, -1.5, -1.5]
    assert np.isnan(_levels(np.array([1.0]), np.zeros(1, np.int64), list(LEVELS))).all()


# --- the net on them ---


def tiny():
    torch.manual_seed(3)
    made = StrokeNet(NetConfig(widths=(8, 8, 8, 16), code=16, beside=16))
    with torch.no_grad():
        for parameter in made.voices.parameters():
            parameter.normal_(0, 0.15)
    return made


def bag_of(patches: PatchSet, hand: int) -> Bag:
    every = patches.joined
    truth = np.full(len(ZONES), hand, np.int8)
    return Bag(
        pack(every.density), every.zone.astype(np.int8), every.resolution, truth, hand, -1, 0,
        scale=every.scales.astype(np.float32),
    )  # fmt: skip


def test_the_sum_with_single_shapes_is_exact(upright):
    output = asked(tiny(), upright)
    calibration = Calibration(0.5, 0.1, -20, 20)
    told = explain(said(output), upright.joined, calibration, calibration)
    stated, capped = calibration.log10_lr(float(output.dial), upright.resolution)
    assert told.total == pytest.approx(stated, abs=1e-4) and not capped
    single = np.arange(len(upright.joined)) >= len(upright)
    assert (single[told.pair[:, 0]] == single[told.pair[:, 1]]).all()  # each kind among its own
    assert np.abs(told.pairs[single[told.pair[:, 0]]]).max() > 1e-3 and np.abs(told.places[single]).max() > 1e-3


def test_zone_by_zone_the_net_says_the_same(upright, monkeypatch):
    net = tiny().eval()
    one = asked(net, upright)
    whole = lambda self, looks, zone, level, own: compared(looks, zone, own, 4, whole=level == level.round())  # noqa: E731
    monkeypatch.setattr(StrokeNet, "_likeness", whole)
    other = asked(net, upright)
    torch.testing.assert_close(other.dial, one.dial, rtol=1e-4, atol=1e-5)
    torch.testing.assert_close(other.zone, one.zone, rtol=1e-4, atol=1e-5)


def test_bags_with_single_shapes_are_drawn_and_learnt_from(upright, outwards):
    """Forward and backward on drawn batches: shapes are among what is drawn, and their pairs have a gradient."""
    bags = [bag_of(upright, 1), bag_of(outwards, 0)]
    held = BagStore(torch.device("cpu"), 2)
    held.add([bags])
    batch = held.draw(8, 40, rng=np.random.default_rng(0))
    single = (batch.scale != batch.scale.round()) & (batch.zone >= 0)
    assert single.any(1).all() and torch.isfinite(batch.patches).all()
    net = tiny().train()
    output = net(batch.patches, batch.zone, batch.resolution, batch.scale)
    loss = torch.nn.functional.binary_cross_entropy_with_logits(output.dial, batch.dial)
    loss.backward()
    assert all(torch.isfinite(p.grad).all() for p in net.parameters() if p.grad is not None)
    # told that a pair is of single shapes
    assert all(voice.pair[0].weight.grad[:, -1].abs().max() > 0 for voice in net.voices)
    whole = next(iter(HeldOut(bags, torch.device("cpu"))))
    assert torch.equal(whole.scale[0, : len(bags[0].zone)], torch.from_numpy(bags[0].scales))


def test_scales_between_have_kinds_of_their_own(upright):
    assert len(set(store._SCALES.tolist())) == len(store._SCALES) and set(LEVELS) <= set(store._SCALES.tolist())
    odd = replace(
        bag_of(upright, 1), strokes=np.where(np.arange(len(upright.joined)) == len(upright), 0, 1).astype(np.int8)
    )
    kinds = store._odd_kinds(odd)
    where = ZONES.index(Zone.NUMERALS) + len(ZONES) * store._SCALES.tolist().index(float(upright.fine.scales[0]))
    assert np.flatnonzero(kinds).tolist() == [where]
