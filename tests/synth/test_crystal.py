"""The glass only adds light, within its border, where and as strongly as it is told."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from dialtell.synth.settings.crystal import REACH, SCENES, CrystalSpec, Glint, reflect, sample_crystal, scratches
from dialtell.synth.settings.plate import lattice
from dialtell.synth.shared.errors import ParameterError

SCALE = 120
X, Y, RADIUS, _ = lattice(SCALE)
BARE = CrystalSpec((), 0, 0, 0.0, 0)
PANEL = Glint("window", 0.5, (1.0, 1.0, 1.0), 0.0, 0.0, 0.0, 0.8, 0.5, 0.01, 5)


def test_glasses_only_add_within_their_border():
    scenes = set()
    for seed in range(40):
        spec = sample_crystal(rng=np.random.default_rng(seed))
        scenes |= {glint.scene for glint in spec.glints}
        added, worn = reflect(spec, SCALE), scratches(spec, SCALE)
        assert added.shape == (*RADIUS.shape, 3) and worn.shape == RADIUS.shape
        assert added.dtype == worn.dtype == np.float32
        assert np.isfinite(added).all() and added.min() >= 0.0 and worn.min() >= 0.0
        assert not added[RADIUS > REACH].any() and not worn[RADIUS > REACH].any()
        if not spec.glints:
            assert not added.any()
        np.testing.assert_array_equal(added, reflect(spec, SCALE))
    assert scenes == set(SCENES)


def test_two_in_five_mirror_nothing_and_few_are_scratched():
    specs = [sample_crystal(rng=np.random.default_rng(seed)) for seed in range(800)]
    assert np.mean([not spec.glints for spec in specs]) == pytest.approx(0.4, abs=0.06)
    assert 0.08 < np.mean([spec.wear_light > 0 for spec in specs]) < 0.2
    strengths = [glint.strength for spec in specs for glint in spec.glints]
    assert min(strengths) < 0.02 and max(strengths) > 1.2


@pytest.mark.parametrize("scene", SCENES)
def test_each_scene_is_seen_as_strongly_as_told(scene):
    glint = replace(PANEL, scene=scene)
    weak, strong = (reflect(replace(BARE, glints=(replace(glint, strength=s),)), SCALE) for s in (0.1, 0.4))
    assert 0.02 < weak.max() < 0.5
    np.testing.assert_allclose(strong, 4.0 * weak, rtol=1e-4, atol=1e-6)
    other = reflect(replace(BARE, glints=(replace(glint, strength=0.1, seed=6),)), SCALE)
    assert np.abs(other - weak).max() > 0.01


def test_a_window_lies_where_it_is_put_and_a_dome_makes_it_smaller_at_its_border():
    def light(glint: Glint) -> np.ndarray:
        return reflect(replace(BARE, glints=(glint,)), SCALE)[..., 1]

    flat = replace(PANEL, bend=0.0, size=0.5)
    for x, y in ((0.4, -0.3), (-0.3, 0.2)):
        seen = light(replace(flat, x=x, y=y))
        middle = np.array([(seen * X).sum(), (seen * Y).sum()]) / seen.sum()
        # panes are not alike all over
        np.testing.assert_allclose(middle, (x, y), atol=0.12)
    middle, border = ((light(replace(flat, bend=2.0, x=x)) > 0.05).sum() for x in (0.0, 1.1))
    assert 0 < border < 0.5 * middle


def test_scratches_are_fine_and_as_bright_as_told():
    worn = scratches(replace(BARE, scratches=30, dust=50, wear_light=0.4, seed=2), SCALE)
    assert 0.2 < worn.max() <= 0.4
    assert 0.0005 < np.mean(worn[RADIUS < 1] > 0.04) < 0.1
    assert not scratches(replace(BARE, scratches=30, wear_light=0.0), SCALE).any()


def test_what_is_out_of_range_is_refused():
    with pytest.raises(ParameterError, match=r"Glint.scene is 'moon'; give one of window"):
        replace(PANEL, scene="moon")
    with pytest.raises(ParameterError, match=r"Glint.strength is 5\.0; give a value from 0\.005 to 3\.0"):
        replace(PANEL, strength=5.0)
    with pytest.raises(ParameterError, match=r"CrystalSpec.dust is 500"):
        replace(BARE, dust=500)
