"""Pictures widen from the easy start to the whole scope, and only what is trained on does."""

from dataclasses import fields, replace

import pytest
from inline_supply import InlineSupply

from dialtell.synth.scene import Range
from dialtell.synth.shared.errors import ParameterError
from dialtell.train.run.config import preset
from dialtell.train.run.curriculum import Curriculum, blend, scope_at

CONFIG = replace(preset("desk"), epochs=20, start_share=0.25, widen_share=0.4)


def test_easy_first_then_wider_then_the_whole_scope():
    scopes = [scope_at(CONFIG, epoch) for epoch in range(20)]
    assert scopes[:5] == [CONFIG.start] * 5
    assert scopes[13:] == [CONFIG.scope] * 7
    for name in ("jitter", "hands_off", "mixed", "tilt", "max_side"):
        values = [getattr(scope, name) for scope in scopes[4:14]]
        assert values in (sorted(values), sorted(values, reverse=True)) and len(set(values)) == 10
    low, high = zip(*(scope.pixels_per_radius for scope in scopes), strict=True)
    assert list(low) == sorted(low, reverse=True) and list(high) == sorted(high)


def test_every_number_of_a_range_is_blended():
    """A field added to Range must not be forgotten: half-way between 0 and 1 each is a half."""
    one, other = Range(), replace(Range(), pixels_per_radius=(190.0, 1100.0), max_side=1500, wear=(0.2, 1.0), tilt=45.0)
    half = blend(one, other, 0.5)
    assert half.pixels_per_radius == (140.0, 1000.0) and half.max_side == 1450 and isinstance(half.max_side, int)
    assert half.wear == pytest.approx((0.1, 0.9)) and half.tilt == 40.0
    assert {field.name for field in fields(Range)} == set(vars(half))
    assert blend(one, other, 1.0) == other and blend(one, other, 0.0) == one


def test_without_a_start_all_pictures_are_of_the_scope():
    plain = replace(CONFIG, start=None)
    assert {id(scope_at(plain, epoch)) for epoch in range(20)} == {id(plain.scope)}


def test_the_supply_draws_what_its_epoch_asks_and_leaves_held_out_sets_alone():
    asked = []

    class Noting(InlineSupply):
        def order_twins(self, seed, first, count, scope):
            asked.append(scope)
            return []

        def order_singles(self, seed, count, scope):
            asked.append(scope)
            return []

    supply = Curriculum(Noting(), CONFIG)
    supply.order_twins(1, 3 * CONFIG.pairs, CONFIG.pairs, CONFIG.scope)
    supply.order_twins(1, 8 * CONFIG.pairs, CONFIG.pairs, CONFIG.scope)
    supply.order_singles(9, 4, CONFIG.scope)
    assert asked == [CONFIG.start, scope_at(CONFIG, 8), CONFIG.scope]


def test_shares_beyond_the_run():
    with pytest.raises(ParameterError, match=r"widen_share is 0\.6; give a value from"):
        replace(CONFIG, start_share=0.5, widen_share=0.6)
