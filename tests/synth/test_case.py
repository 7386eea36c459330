"""Cases: nothing of them in the opening, covered where they lie, shadows on the light's side, metals that glitter."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from dialtell.synth.settings.case import CHANCES, KINDS, CaseSpec, paint_case, sample_case, shade_enamel
from dialtell.synth.settings.finish import BRIGHTEST, METALS, Finish, room, shine
from dialtell.synth.settings.plate import lattice
from dialtell.synth.settings.rings import PATTERNS, Ring, paint_rings
from dialtell.synth.shared.errors import ParameterError

SCALE = 120
_, _, RADIUS, TURN = lattice(SCALE)
ROOM = room(1, 330.0, 1.0)
GOLD = Finish(METALS["gold"], mirror=1.0, level=0)
PIXEL = 1.0 / SCALE


def drawn(count: int) -> list[CaseSpec]:
    return [sample_case(rng=np.random.default_rng(seed)) for seed in range(count)]


def test_a_case_leaves_its_opening_free_and_covers_its_rings():
    seen = set()
    for spec in drawn(60):
        layer = paint_case(spec, SCALE)
        seen.add(spec.kind)
        assert layer.colour.shape == (*RADIUS.shape, 3) and layer.colour.dtype == layer.cover.dtype == np.float32
        assert np.isfinite(layer.colour).all() and layer.cover.min() >= 0.0 and layer.cover.max() <= 1.0
        lit = layer.colour[layer.cover > 0]
        assert lit.size == 0 or (lit.min() >= 0.0 and lit.max() <= BRIGHTEST)
        assert not layer.cover[spec.opening - PIXEL > RADIUS].any()
        narrowest = spec.edge - spec.lobe_depth * (spec.edge - spec.opening)
        ring = (spec.opening + PIXEL < RADIUS) & (narrowest - PIXEL > RADIUS)
        assert (layer.cover[ring] > 0.98).all()
    assert seen == set(KINDS)


def test_a_case_is_the_same_each_time_and_another_seed_gives_another_sheen():
    spec = replace(drawn(1)[0], rings=(Ring(0.2, 0.0, 0.7, GOLD),), contrast=1.0)
    first, again, other = (paint_case(s, SCALE).colour for s in (spec, spec, replace(spec, seed=spec.seed + 1)))
    np.testing.assert_array_equal(first, again)
    assert np.abs(first - other).max() > 0.2


def test_the_bezel_covers_the_border_in_half_of_the_cases():
    cases = [spec for spec in drawn(600) if spec.kind != "none"]
    covered = np.mean([spec.opening < 1.0 for spec in cases])
    assert covered == pytest.approx(0.5, abs=0.08)
    assert all(0.93 <= spec.opening <= 1.0 and spec.edge < 1.7 for spec in cases)
    widths = [spec.edge - spec.opening for spec in cases]
    assert min(widths) < 0.04 and max(widths) > 0.55
    bare = [spec for spec in drawn(600) if spec.kind == "none"]
    assert len(bare) / 600 == pytest.approx(CHANCES[KINDS.index("none")], abs=0.05)
    assert all(spec.opening == 1.0 and spec.board is None for spec in bare)


@pytest.mark.parametrize("azimuth", [0.0, 90.0, 225.0])
def test_the_shadow_lies_on_the_light_s_side(azimuth):
    spec = replace(
        drawn(1)[0], shadow=0.75, shadow_reach=0.2, shadow_soft=0.02, fill_shadow=0.0, murk=0.0, azimuth_deg=azimuth
    )
    left = shade_enamel(spec, SCALE)
    off = np.angle(np.exp(1j * (TURN - np.radians(azimuth))))
    band = (RADIUS > spec.opening - 0.1) & (spec.opening - 0.05 > RADIUS)
    np.testing.assert_allclose(left[band & (np.abs(off) < 0.3)], 0.25, atol=1e-5)
    np.testing.assert_allclose(left[(np.abs(off) > 2.0) & band], 1.0)
    np.testing.assert_allclose(left[RADIUS < 0.6], 1.0)


def test_murk_darkens_all_round_and_no_shadow_is_none():
    spec = replace(drawn(1)[0], shadow=0.0, fill_shadow=0.0, murk=0.4, murk_reach=0.2)
    left = shade_enamel(spec, SCALE)
    assert left[np.abs(RADIUS - spec.opening) < PIXEL].max() < 0.67
    np.testing.assert_allclose(left[spec.opening - 0.21 > RADIUS], 1.0)
    assert (shade_enamel(replace(spec, murk=0.0), SCALE) == 1.0).all()


def test_polished_gold_glitters_more_than_matt_and_is_yellow():
    turn = np.linspace(0, 2 * np.pi, 720, endpoint=False)
    x, y = (0.6 * f(turn).astype(np.float32) for f in (np.sin, np.cos))
    polished, matt = (shine(ROOM, x, y, replace(GOLD, level=level)) for level in (0, 2))
    assert polished[:, 0].std() > 1.15 * matt[:, 0].std()
    assert matt[:, 0].mean() > 1.3 * matt[:, 1].mean() > 1.6 * matt[:, 2].mean()
    grey = shine(ROOM, x, y, Finish((0.5, 0.5, 0.5)))
    light = np.radians(330.0)
    assert np.argmax(grey[:, 0]) == pytest.approx(np.argmax(x * np.sin(light) - y * np.cos(light)), abs=2)


@pytest.mark.parametrize("pattern", PATTERNS[1:])
def test_a_pattern_roughens_the_ring(pattern):
    plain, worked = (
        paint_rings((Ring(0.15, 0.0, 0.0, GOLD, name, 40, 0.8),), 1.0, SCALE, ROOM, 3) for name in ("plain", pattern)
    )
    np.testing.assert_array_equal(plain.cover, worked.cover)
    np.testing.assert_array_equal(plain.pixels, worked.pixels)

    def roughness(colour: np.ndarray) -> float:
        picture = np.zeros(RADIUS.size, np.float32)
        picture[plain.pixels] = colour[:, 1]
        steps = np.abs(np.diff(picture.reshape(RADIUS.shape), axis=1))
        return float(steps[((RADIUS > 1.03) & (RADIUS < 1.12))[:, 1:]].mean())

    assert roughness(worked.colour) > 2.0 * roughness(plain.colour)


def test_what_is_out_of_range_is_refused():
    with pytest.raises(ParameterError, match=r"Ring.pattern is 'knitted'; give one of plain"):
        Ring(0.1, 0.0, 0.0, GOLD, "knitted")
    with pytest.raises(ParameterError, match=r"Ring.width is 0\.0"):
        Ring(0.0, 0.0, 0.0, GOLD)
    with pytest.raises(ParameterError, match=r"CaseSpec.shadow is 0\.95"):
        replace(drawn(1)[0], shadow=0.95)
    with pytest.raises(ParameterError, match=r"CaseSpec.kind is 'egg'"):
        replace(drawn(1)[0], kind="egg")
