"""Clocks: stages begun within others count once, the first call is left out, everything is put back."""

import time
from types import SimpleNamespace

import pytest
import torch

from dialtell.evaluate.speed.clock import (
    Clock,
    arithmetic_seconds,
    median_of,
    multiply_adds,
    product_seconds,
    stage_medians,
    touching_seconds,
)


def busy(seconds):
    """Spend so much processor time."""
    start = time.process_time()
    while time.process_time() - start < seconds:
        pass


def test_an_inner_stage_counts_once():
    clock = Clock()
    inner = clock.timed("inner", lambda: busy(0.02))
    outer = clock.timed("outer", lambda: inner())
    start = time.process_time()
    outer()
    outer()
    whole = time.process_time() - start
    assert clock.spent["inner"] >= 0.04
    assert sum(clock.spent.values()) <= whole
    assert clock.spent["outer"] < clock.spent["inner"]


def test_watching_ends_and_puts_everything_back():
    place = SimpleNamespace(work=lambda: None)
    before = place.work
    with pytest.raises(RuntimeError), Clock().watching([(place, "work", "a stage")]):
        assert place.work is not before
        raise RuntimeError
    assert place.work is before


def test_the_median_leaves_the_first_call_out():
    ticks = iter([0, 1, 10, 17, 20, 22])  # 1, 7 and 2 s
    called = []
    assert median_of(called.append, 3, lambda: next(ticks)) == 2
    assert called == [0, 0, 1, 2]


def test_stages_and_the_rest_make_up_the_whole():
    place = SimpleNamespace(one=lambda: busy(0.03), two=lambda: busy(0.01))

    def work():
        place.one()
        place.two()
        busy(0.02)

    found = stage_medians(1, work, lambda: busy(0.04), [(place, "one", "one"), (place, "two", "two")])
    assert list(found) == ["whole", "one", "two", "rest", "first", "beside"]
    assert 0.04 <= found["beside"] < 0.06  # no part of the whole
    assert found["whole"] == pytest.approx(found["one"] + found["two"] + found["rest"])
    assert found["one"] >= 0.03 and found["two"] >= 0.01 and found["rest"] >= 0.02


def test_limits():
    one = torch.ones(64, 32)
    assert multiply_adds(lambda: one @ torch.ones(32, 16)) == 64 * 32 * 16
    assert arithmetic_seconds(3 * 1024**3, 0.02) == pytest.approx(0.06)  # three such products
    assert touching_seconds(48e6, 48e6, 0.01) == pytest.approx(0.01)  # the copy itself
    assert product_seconds() > 0
