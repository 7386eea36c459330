"""What dials have besides strokes: left out in half, named, and over the paint they lie on."""

from dataclasses import replace

import numpy as np
import pytest

from dialtell.synth.faces.face_parts import NUMBER, lattice
from dialtell.synth.faces.features import NOTHING, FeaturesSpec, add_features, sample_features
from dialtell.synth.faces.modern import draw_modern, sample_modern
from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.shared.terms import Make, Seen

SCALE = 70
FACE = draw_modern(
    replace(
        next(
            spec
            for spec in (sample_modern(rng=np.random.default_rng([8, k]), make=Make.ENAMEL) for k in range(99))
            if len(spec.shown) == 12 and spec.kind == "wall" and not spec.subs
        ),
        window=(0.0, 0.0),
    ),
    SCALE,
)


def changed(spec):
    after = add_features(spec, FACE)
    return after, np.abs(after.colour - FACE.colour).max(axis=2) > 1e-6


def test_about_half_have_none_and_the_rest_have_some():
    specs = [sample_features(rng=np.random.default_rng([3, k])) for k in range(300)]
    assert 0.42 < np.mean([spec == NOTHING for spec in specs]) < 0.58
    assert all(changed(spec)[1].any() for spec in specs[:60] if spec != NOTHING)
    none, different = changed(NOTHING)
    assert none is FACE and not different.any()


def test_all_kinds_occur_and_each_is_pure():
    specs = [sample_features(rng=np.random.default_rng([3, k])) for k in range(400)]
    for name, count in (("opening", 4), ("centre", 4), ("plaques", 4), ("ornament", 5), ("blocks", 3), ("bit", 2)):
        assert len({getattr(spec, name) for spec in specs}) == count
    for spec in specs[:25]:
        one, again = add_features(spec, FACE), add_features(spec, FACE)
        for a, b in zip(one, again, strict=True):
            np.testing.assert_array_equal(a, b)
        assert np.isfinite(one.colour).all() and one.colour.min() >= 0.0
        assert one.colour.dtype == np.float32 and one.ink.dtype == np.float32 and one.seen.dtype == np.uint8
        np.testing.assert_array_equal(one.seen == 0, FACE.seen == 0)


@pytest.mark.parametrize(
    ("spec", "name", "place"),
    [
        (FeaturesSpec(opening="round", opening_at=(0.0, -0.1, 0.2)), Seen.HOLE, (0.0, -0.1)),
        (FeaturesSpec(winding=((0.3, 0.2),)), Seen.HOLE, (0.3, 0.2)),
        (FeaturesSpec(pins=((np.pi / 2, 0.93),)), Seen.HOLE, (0.93, 0.0)),
        (FeaturesSpec(boss=0.08), Seen.HOLE, (0.0, 0.0)),
        (FeaturesSpec(centre="gilt", centre_reach=0.3), Seen.STEP, (0.1, 0.1)),
        (FeaturesSpec(moon=(-0.3, 0.2)), Seen.HOLE, (0.0, -0.42)),
        (FeaturesSpec(ornament="scene"), Seen.OTHER, (0.1, 0.1)),
    ],
)  # fmt: skip
def test_a_thing_is_named_where_it_is_and_takes_the_inks_place(spec, name, place):
    after, different = changed(spec)
    row, column = (int((at + 1.0) * SCALE) for at in (place[1], place[0]))
    assert after.seen[row, column] == NUMBER[name]
    if name is not Seen.OTHER:
        hidden = (after.seen == NUMBER[name]) & (FACE.seen != NUMBER[name])
        assert after.ink[hidden].max() < 0.6
    np.testing.assert_array_equal(after.seen[~different], FACE.seen[~different])


def test_plaques_leave_the_figures_and_gild_between():
    after, _ = changed(FeaturesSpec(plaques="gilt"))
    ring = after.seen == NUMBER[Seen.STEP]
    figures = FACE.seen == NUMBER[Seen.NUMERALS]
    assert ring.sum() > 0.1 * ring.size
    assert (after.seen[figures] == NUMBER[Seen.NUMERALS]).mean() > 0.6
    assert after.colour[ring].mean(axis=0)[0] > 1.3 * after.colour[ring].mean(axis=0)[2]


def test_a_step_is_dark_towards_the_light_and_lies_at_its_radius():
    after, different = changed(FeaturesSpec(sunk=0.4, light=0.0))
    assert np.abs(lattice(SCALE)[2][after.seen == NUMBER[Seen.STEP]] - 0.4).max() < 0.04
    _, y, radius, _ = lattice(SCALE)
    wall = different & (np.abs(radius - 0.4) < 0.01) & (FACE.ink == 0.0)
    assert after.colour[wall & (y < -0.3)].mean() < after.colour[wall & (y > 0.3)].mean()


def test_dates_are_paint():
    after, _ = changed(FeaturesSpec(dates=0.45))
    more = after.ink - FACE.ink
    assert more.min() >= 0.0 and more.sum() > 0.002 * more.size
    assert (after.seen[more > 0.5] == NUMBER[Seen.OTHER]).all()


def test_wrong_names_are_refused_in_words():
    with pytest.raises(ParameterError, match="centre is 'copper'; give one of none, gilt"):
        FeaturesSpec(centre="copper")
