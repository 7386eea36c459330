"""The gate: drawn dials pass, patches of anything else do not, and its limit comes of drawn dials alone."""

from dataclasses import replace

import numpy as np
import pytest
import torch
from odd_patches import KINDS, made_odd

from dialtell.model.net.familiar import TRAITS, familiar_from
from dialtell.model.net.weights_file import load_weights
from dialtell.model.reading.known import UNKNOWN
from dialtell.model.reading.photo import read_photo
from dialtell.model.reading.steps import Reading, read
from dialtell.synth.scene import Range, sample_spec
from dialtell.train.bags.bags import bag_of, pack
from dialtell.train.run import gate
from dialtell.train.run.gate import FEWEST, PASSED, drawn_traits, fit_traits, note_familiar
from dialtell.train.run.store import unpack

PLAINLY_ODD = ("noise", "clouds", "inverted", "on colour", "pixels shuffled", "wood")
CPU = torch.device("cpu")
SMALL = Range(max_side=460, pixels_per_radius=(150.0, 220.0), tilt=15.0)


def dials(count, seed, size=1.0, at=0.0):
    """Traits of made-up dials that differ in a few directions much more than in the others."""
    rng = np.random.default_rng(seed)
    mixing = np.random.default_rng(99).standard_normal((TRAITS, TRAITS)) * np.geomspace(3, 0.05, TRAITS)
    traits = at + size * rng.standard_normal((count, TRAITS)) @ mixing.T
    return np.hstack([traits, rng.integers(60, 280, (count, 1)), rng.uniform(-4, 0.5, (count, 1))])


def known(families, fresh=None):
    return note_familiar(families, dials(0, 0) if fresh is None else fresh)["familiar"]


def test_fresh_dials_of_both_families_pass_and_other_ones_do_not():
    said = known([dials(800, 1), dials(800, 2, at=0.3)], dials(500, 3))
    familiar = familiar_from(said)
    for at, seed in ((0.0, 4), (0.3, 5)):
        assert familiar.knows(dials(4000, seed, at=at)).mean() >= 0.985
    assert familiar.knows(dials(500, 6, size=3.0)).mean() < 0.05
    assert said["dials"] == 1600 and said["passed"] == PASSED
    assert said["fresh"] == {"dials": 500, "passed": int(familiar.knows(dials(500, 3)).sum())}


def test_the_family_that_lies_farther_off_sets_the_limit():
    near, far = (known([dials(400, 1), dials(400, 2, size=size)])["limits"][0][1] for size in (1.0, 1.6))
    assert far > 1.1 * near


def test_sharp_dials_that_differ_more_than_the_many_others_pass_as_often():
    """A thirtieth of all, three times as far off: one limit would refuse most of them."""

    def mixed(count, seed):
        found, sharp = dials(count, seed), dials(count // 30, seed + 50, size=3.0)
        found[:, -1], sharp[:, -1] = -2.5, 0.4
        return np.concatenate([found, sharp])

    said = known([mixed(1500, 1), mixed(1500, 2)])
    low, high = said["limits"][0][1], said["limits"][-1][1]
    fresh = mixed(3000, 3)
    assert high > 1.2 * low and familiar_from(said).knows(fresh[-100:]).mean() >= 0.95
    assert familiar_from(said).knows(fresh[:-100]).mean() >= 0.985


def test_the_limit_is_that_of_dials_it_was_not_fitted_to():
    """With few dials for so many directions those fitted to lie far too near."""
    few = [dials(FEWEST, 1), dials(FEWEST, 2)]
    familiar = familiar_from(known(few))
    fitted = np.quantile(fit_traits(np.concatenate(few)).distance(np.concatenate(few)), PASSED)
    assert familiar.limits[0][1] > 1.02 * fitted
    assert familiar.knows(dials(2000, 3)).mean() > 0.985


@pytest.mark.parametrize("counts", [(FEWEST, FEWEST - 1), (0, 0), (8, 400)])
def test_too_few_dials_of_a_family_note_nothing(counts):
    assert note_familiar([dials(count, 1) for count in counts], dials(10, 2)) == {}


def test_a_trait_in_which_no_dial_differs_is_no_reason_to_refuse_all():
    families = [dials(400, 1), dials(400, 2)]
    for family in families:
        family[:, 5] = 1.0
    fresh = dials(300, 3)
    fresh[:, 5] = 1.0 + 1e-6
    assert familiar_from(known(families)).knows(fresh).mean() > 0.97


@pytest.fixture(scope="module")
def drawn():
    """Bags of small drawn dials."""
    found = [bag_of(sample_spec(77, index, SMALL)) for index in range(70)]
    return [bag for bag in found if bag is not None]


@pytest.mark.slow
def test_drawn_dials_pass_and_what_is_no_stroke_does_not(drawn, monkeypatch):
    monkeypatch.setattr(gate, "FEWEST", 20)
    held, taught = drawn[:8], drawn[8:]
    families = [drawn_traits(taught[half::2], CPU) for half in (0, 1)]
    familiar = familiar_from(note_familiar(families, families[0])["familiar"])
    assert familiar.knows(np.concatenate(families)).mean() >= 0.97
    assert familiar.knows(drawn_traits(held, CPU)).all()
    rng = np.random.default_rng(0)
    for kind in sorted(KINDS):
        odd = drawn_traits([_turned(bag, kind, rng) for bag in held], CPU)
        far = np.median(familiar.distance(odd)) / np.median(familiar.distance(drawn_traits(held, CPU)))
        assert far > 1.6, kind
        if kind in PLAINLY_ODD:
            assert familiar.knows(odd).mean() <= 0.25, kind


def _turned(bag, kind, rng):
    own = bag.scales == 0
    density = made_odd(kind, unpack(torch.from_numpy(bag.density[own])).numpy(), rng=rng)
    return replace(bag, density=pack(density), zone=bag.zone[own], scale=None, strokes=None, alike=None)


EXAMPLES = ("painted.jpg", "printed-photographic.jpg", "printed-transfer.jpg")


@pytest.mark.parametrize("name", EXAMPLES)
def test_the_shipped_weights_know_a_drawn_dial_and_none_of_the_odd_ones(name):
    from importlib.resources import files

    weights = load_weights()
    if weights.familiar is None:
        pytest.skip("the weights shipped were made before the gate")
    (reading,) = read(read_photo(files("dialtell.evaluate") / "examples" / name), UNKNOWN)
    assert isinstance(reading, Reading)
    patches, rng = reading.patches, np.random.default_rng(0)
    assert not gate_says(weights, patches)
    for kind in PLAINLY_ODD:
        assert gate_says(weights, replace(patches, density=made_odd(kind, patches.density, rng=rng))), kind


def gate_says(weights, patches):
    from dialtell.model.net.verdict import judge

    return judge(patches, weights).unlike
