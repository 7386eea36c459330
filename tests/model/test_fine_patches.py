"""Patches of larger scales: where they lie, what they show, when there are any."""

import numpy as np
import pytest
from test_patches import HIDING, SEEN, TILTED, pictured, zone_map

from dialtell.model.reading.fine_patches import FINEST, MOST, with_fine
from dialtell.model.reading.patches import LEAST_INK, MOST_INK, SCALE, SIDE, SPAN, cut_patches

ZOOM = 5.0  # a photograph of five times as many px


def striped(points):
    """D of rings about the dial's middle, 0.02 radii apart."""
    radius = np.linalg.norm(TILTED.scaled(ZOOM).to_dial(points.reshape(-1, 2)), axis=1).reshape(points.shape[:-1])
    return (0.5 + 0.5 * np.cos(2 * np.pi * radius / 0.02)) ** 6


@pytest.fixture(scope="module")
def photo():
    side = tuple(int(ZOOM * length) for length in (800, 810))
    rows, columns = np.indices(side)
    points = np.stack([columns + 0.5, rows + 0.5], axis=-1).astype(float)
    return striped(points).astype(np.float32)


def cut(photo, resolved, **kind):
    geometry, zones = TILTED.scaled(ZOOM), zone_map(**kind)
    coarse = cut_patches(photo, geometry, zones, 0.1, resolved)
    return coarse, with_fine(coarse, photo, geometry, zones, resolved)


@pytest.mark.parametrize(
    ("resolved", "scales"), [(0.5, []), (1.0, []), (1.6, []), (2, [1]), (3.9, [1, 2]), (9, [1, 2])]
)
def test_only_what_is_resolved_is_cut(photo, resolved, scales):
    coarse, patches = cut(photo, resolved * SCALE)
    found = [] if patches.fine is None else sorted(set(patches.fine.scales.tolist()))
    assert found == scales
    for name in ("density", "zone", "center", "right", "ink"):  # the first scale as it was
        assert np.array_equal(getattr(patches, name), getattr(coarse, name))
    joined = patches.joined
    assert len(joined) == len(coarse) + (len(patches.fine) if scales else 0) and joined.fine is None
    assert np.array_equal(joined.scales[: len(coarse)], np.zeros(len(coarse)))


def test_fine_patches_show_the_photograph_at_their_scale(photo):
    _, patches = cut(photo, 4 * SCALE)
    fine = patches.fine
    shown = striped(fine.grids(TILTED.scaled(ZOOM)).astype(float)) / patches.full
    assert np.abs(fine.density - shown).max() < 0.12 and np.abs(fine.density - shown).mean() < 0.02
    for scale in (1, 2):
        some = fine.scales == scale
        assert 0 < some.sum() <= MOST and scale <= FINEST
        corners = fine.grids(TILTED.scaled(ZOOM))[some][:, 0, [0, -1]].reshape(-1, 2).astype(float)
        across = np.linalg.norm(np.diff(TILTED.scaled(ZOOM).to_dial(corners).reshape(-1, 2, 2), axis=1)[:, 0], axis=1)
        assert across == pytest.approx(SPAN / 2**scale * (SIDE - 1) / SIDE, rel=1e-3)
    assert fine.ink.min() >= LEAST_INK and fine.ink.max() <= MOST_INK


def test_parts_lie_within_patches_of_the_first_scale(photo):
    coarse, patches = cut(photo, 4 * SCALE)
    fine = patches.fine
    away = fine.center[:, None] - coarse.center[None]
    along = np.stack([(away * coarse.right).sum(2), (away * coarse.right[:, ::-1] * (-1, 1)).sum(2)], axis=2)
    nearest = np.abs(along).max(axis=2).min(axis=1)
    half = 0.5 * SPAN * (1 - 0.5**fine.scales)
    assert (nearest <= half + 1e-9).all()


def test_nothing_is_cut_where_a_watch_hand_lies(photo):
    geometry, zones = TILTED.scaled(ZOOM), zone_map()
    coarse = cut_patches(photo, geometry, zones, 0.1, 4 * SCALE)
    covered = zone_map()
    covered.seen[:, : len(covered.seen) // 2] = SEEN.index(HIDING[0])
    left = with_fine(coarse, photo, geometry, covered, 4 * SCALE).fine
    assert len(left) and left.center[:, 0].min() > -0.05 * SPAN > with_fine(
        coarse, photo, geometry, zones, 4 * SCALE).fine.center[:, 0].min()  # fmt: skip


def test_bare_enamel_has_none():
    bare = pictured(lambda p: np.zeros(p.shape[:-1]))
    coarse = cut_patches(bare, TILTED, zone_map(), 0.1, 4 * SCALE)
    assert len(coarse) == 0 and with_fine(coarse, bare, TILTED, zone_map(), 4 * SCALE).fine is None
