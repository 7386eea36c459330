"""Settings as they are drawn: within their ranges, the same for the same rng, and where the dial is said to lie."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from dialtell.synth.settings.setting import SIDE, SQUARE, Look, Placing, SettingSpec, sample_setting
from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.shared.record import from_record, to_record

LOOKS = tuple(Look)


def drawn(seed: int, look: Look, **kind: object) -> SettingSpec:
    return sample_setting(rng=np.random.default_rng([seed, 3]), look=look, **kind)  # type: ignore[arg-type]


@pytest.mark.parametrize("look", LOOKS)
def test_same_rng_same_setting_and_the_record_keeps_it(look: Look) -> None:
    seen = set()
    for seed in range(20):
        one = drawn(seed, look)
        assert one == drawn(seed, look) == from_record(SettingSpec, to_record(one))
        seen.add(one.seed)
    assert len(seen) == 20


def test_sizes() -> None:
    for seed in range(40):
        square, scene = drawn(seed, Look.SQUARE), drawn(seed, Look.SCENE, side=900)
        assert square.shape == (SIDE, SIDE) and max(scene.shape) == 900 and min(scene.shape) >= 500
        assert square.place is not None and square.place.radius_px == SQUARE
        assert scene.error == (0.0,) * 5 and scene.cut == (0.0,) * 4 and max(map(abs, square.error[:4])) <= 0.1


def test_a_close_look_shows_a_part_and_a_scene_mostly_the_whole() -> None:
    whole = 0
    for seed in range(60):
        close, scene = drawn(seed, Look.CLOSE), drawn(seed, Look.SCENE)
        assert close.place is not None and scene.place is not None
        assert 2 * close.place.radius_px > min(close.shape)
        height, width = scene.shape
        p = scene.place
        whole += p.radius_px <= min(p.x, p.y, width - p.x, height - p.y)
    assert 25 <= whole <= 58


def test_without_a_dial() -> None:
    bare = [drawn(seed, Look.SCENE, dial=False) for seed in range(40)]
    assert all(one.place is None for one in bare) and sum(len(one.things) > 0 for one in bare) >= 20
    squares = [drawn(seed, Look.SQUARE, dial=False) for seed in range(40)]
    # most show something round where a dial was taken to be
    assert sum(any(place.radius_px == SQUARE for _, place in one.things) for one in squares) >= 24


def test_uncased() -> None:
    assert all(drawn(seed, Look.SCENE, cased=False).case is None for seed in range(20))
    assert all(not drawn(seed, Look.SCENE, cased=False).crystal.glints for seed in range(20))


def test_a_placing_puts_the_dial_where_it_says() -> None:
    flat = Placing(100.0, 200.0, 150.0, np.radians(90.0), 0.0, 0.0, 0.0).matrix()
    assert flat @ [0, 0, 1] == pytest.approx([200.0, 150.0, 1.0])
    assert flat @ [0, -1, 1] == pytest.approx([300.0, 150.0, 1.0])  # 12 o'clock to the right
    tilted = Placing(100.0, 0.0, 0.0, 0.0, 0.6, np.radians(90.0), 0.0).matrix()  # leans away to the right
    assert tilted @ [1, 0, 1] == pytest.approx([100 * np.cos(0.6), 0.0, 1.0])
    assert tilted @ [0, 1, 1] == pytest.approx([0.0, 100.0, 1.0])
    deep = Placing(100.0, 0.0, 0.0, 0.0, 0.6, np.radians(90.0), 0.3).matrix()
    far, near = deep @ [1, 0, 1], deep @ [-1, 0, 1]
    assert abs(far[0] / far[2]) < abs(near[0] / near[2])  # what leans away looks smaller


@pytest.mark.parametrize("change", [{"cast": 1.2}, {"gradient": 4.0}, {"cut": (0.0, 0.7, 0.0, 0.0)}])
def test_values_out_of_range(change: dict[str, object]) -> None:
    with pytest.raises(ParameterError, match=next(iter(change))):
        replace(drawn(0, Look.SCENE), **change)  # type: ignore[arg-type]
