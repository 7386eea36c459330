"""Relief and gloss of a coat: which side of a stroke each lamp lights, and that level places are left alone."""

from dataclasses import replace

import numpy as np
import pytest

from dialtell.synth.photograph.relief import KINDS, Lamp, apply_relief, lamp_of
from dialtell.synth.scene import sample_spec
from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.strokes.coat import ground_of
from dialtell.synth.strokes.film import sample_film

SIDE, SCALE, INK = 120, 60.0, 0.04
PLAIN = replace(sample_film(rng=np.random.default_rng(1), radius_mm=22.0), pits=0.0, sink_um=8.0)


def lit(kind, azimuth_deg=90.0, *, scale=SCALE, roll_deg=0.0, high_um=15.0, film=PLAIN):
    """Reflectance before and after of a square of paint, 0.67 mm, in the middle of enamel."""
    share = np.zeros((SIDE, SIDE), dtype=np.float32)
    share[40:80, 40:80] = 1.0
    ramp = np.minimum(np.minimum(np.arange(SIDE) - 39, 80 - np.arange(SIDE)) / 2.0, 1.0).clip(0)
    height = (high_um * share * np.minimum.outer(ramp, ramp)).astype(np.float32)
    before = np.where(share[..., None] > 0, np.float32(INK), np.float32(0.8)) * np.ones(3, dtype=np.float32)
    matrix = np.array([[scale, 0.0, 60.0], [0.0, scale, 60.0], [0.0, 0.0, 1.0]])
    after = before.copy()
    apply_relief(
        after, height, Lamp(kind, azimuth_deg, 45.0, 8.0, 0.15), film, ground_of(matrix, share.shape), roll_deg
    )
    return before[..., 1], after[..., 1]


def sides(field):
    """Mean over the painted border at 12, 3, 6 and 9 o'clock."""
    return [
        float(part.mean())
        for part in (field[40:43, 48:72], field[48:72, 77:80], field[77:80, 48:72], field[48:72, 40:43])
    ]


@pytest.mark.parametrize(("azimuth", "bright"), [(0.0, 0), (90.0, 1), (180.0, 2), (270.0, 3)])
def test_one_lamp_lights_the_shoulder_that_faces_it(azimuth, bright):
    _, after = lit("lamp", azimuth)
    found = sides(after)
    assert int(np.argmax(found)) == bright
    assert found[bright] > 2 * found[(bright + 2) % 4]
    _, turned = lit("lamp", (azimuth - 90.0) % 360.0, roll_deg=90.0)
    np.testing.assert_allclose(sides(turned), found, rtol=1e-4)


def test_a_ring_light_lights_all_shoulders_alike_and_coaxial_light_the_level():
    _, ring = lit("ring")
    found = sides(ring)
    assert max(found) < 1.05 * min(found)
    assert min(found) > 2 * INK
    assert ring[55:65, 55:65].max() < 1.2 * INK
    before, coaxial = lit("coaxial")
    level = coaxial[55:65, 55:65].mean()
    assert level > before[60, 60] + 0.08
    assert max(sides(coaxial)) < level
    assert coaxial[5, 5] - before[5, 5] == pytest.approx(level - before[60, 60], abs=0.01)


def test_level_enamel_and_pictures_from_afar_are_left_as_they_were():
    for kind in ("daylight", "lamp", "ring"):
        before, after = lit(kind)
        np.testing.assert_array_equal(after[:20], before[:20])
    for kind in KINDS:
        before, after = lit(kind, scale=25.0)
        np.testing.assert_array_equal(after, before)


def test_a_thicker_coat_stands_out_more():
    gains = [float(np.abs(np.subtract(*lit("lamp", high_um=high))).sum()) for high in (3.0, 8.0, 16.0)]
    assert gains[0] < gains[1] < gains[2]


def test_pits_are_as_many_as_said_dark_in_enamel_and_light_in_paint():
    before, after = lit("daylight", film=replace(PLAIN, pits=8.0, pit_um=20.0), high_um=15.0)
    change = after - before
    enamel = np.ones_like(change, dtype=bool)
    enamel[34:86, 34:86] = False
    assert change[enamel].min() < -0.08
    assert change[enamel].max() == 0.0
    assert change[50:70, 50:70].max() > 0.03
    dark = int((change[enamel] < -0.02).sum())
    expected = 8.0 * enamel.sum() / SCALE**2 * np.pi * 0.02**2 * SCALE**2  # px
    assert 0.3 * expected < dark < 2.5 * expected


def test_twins_and_replays_have_one_lamp():
    spec = sample_spec(3, 7)
    lamps = [lamp_of(spec.light, 3, index) for index in range(40)]
    assert lamps[7] == lamp_of(spec.light, spec.seed, spec.index)
    assert {lamp.kind for lamp in lamps} == set(KINDS)
    with pytest.raises(ParameterError, match=r"Lamp\.kind is 'sun'"):
        Lamp("sun", 0.0, 45.0, 1.0, 0.1)
    with pytest.raises(ParameterError, match=r"Lamp\.spread"):
        replace(lamps[0], spread=0.0)
