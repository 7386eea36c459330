"""A face in its setting: the same spec gives the same bytes, and the labels say what the picture shows."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from dialtell.synth.faces.subject import SubjectSpec, draw_subject, sample_subject
from dialtell.synth.settings.compose import PADDING, compose, root
from dialtell.synth.settings.setting import SIDE, SQUARE, Look, SettingSpec, sample_setting
from dialtell.synth.shared.record import from_record, to_record
from dialtell.synth.shared.terms import INK_SEEN, SEEN, ZONES, Make, Process, Seen

INK = [SEEN.index(INK_SEEN[zone]) for zone in ZONES]
LOOKS = (Look.SCENE, Look.SQUARE, Look.CLOSE)


@cache
def subject(index: int) -> SubjectSpec:
    return sample_subject(rng=np.random.default_rng([index, 1]), seed=900, index=index)


def setting(index: int, look: Look, **kind: bool) -> SettingSpec:
    return sample_setting(rng=np.random.default_rng([index, 2]), look=look, **kind)


def enamel(count: int) -> list[SubjectSpec]:
    found = [one for one in map(subject, range(40)) if one.make is Make.ENAMEL and one.dial is not None]
    return [replace(one, features=None) for one in found[:count]]


def plain(spec: SettingSpec) -> SettingSpec:
    """A setting in which nothing lies over the dial or shades it."""
    return replace(
        spec, things=(), case=None, held=None, cast=0.0, gradient=0.0, cut=(0.0,) * 4,
        crystal=replace(spec.crystal, glints=(), scratches=0, dust=0),
        camera=replace(spec.camera, shot=0.0),
    )  # fmt: skip


@pytest.mark.parametrize("look", LOOKS)
def test_same_specs_same_bytes_through_a_record(look: Look) -> None:
    for index in (0, 1, 2):
        one, where = subject(index), setting(index, look)
        first = compose(where, draw_subject(one), one.make)
        again_one = from_record(SubjectSpec, to_record(one))
        again_where = from_record(SettingSpec, to_record(where))
        assert again_one == one and again_where == where
        again = compose(again_where, draw_subject(again_one), again_one.make)
        assert first.picture.tobytes() == again.picture.tobytes() and first.seen.tobytes() == again.seen.tobytes()
        assert first.outline == again.outline and first.twelve == again.twelve


def away(example: object, shape: tuple[int, int]) -> np.ndarray:
    """(H, W) dial radii from the centre by the outline stated."""
    outline = example.outline  # type: ignore[attr-defined]
    rows, columns = np.indices(shape)
    places = np.stack([columns + 0.5, rows + 0.5], axis=-1) - outline.center_px
    return np.hypot(*np.moveaxis(places @ np.linalg.inv(root(outline)).T, -1, 0))


@pytest.mark.parametrize("look", LOOKS)
def test_what_is_named_of_the_dial_lies_within_its_outline(look: Look) -> None:
    for index, one in enumerate(enamel(4)):
        example = compose(setting(index, look), draw_subject(one), one.make)
        distance = away(example, example.seen.shape)
        dial = (example.seen > 0) & (example.seen != SEEN.index(Seen.OVERLAY))
        assert not (dial & (distance > 1.02)).any()
        bare = compose(plain(setting(index, look)), draw_subject(one), one.make)
        distance = away(bare, bare.seen.shape)
        shown = bare.seen != SEEN.index(Seen.OVERLAY)
        assert ((bare.seen > 0) == (distance < 1.0))[shown & (np.abs(distance - 1) > 0.02)].mean() > 0.999


def test_ink_is_darker_than_bare_enamel_beside_it() -> None:
    import cv2

    told = []
    for index, one in enumerate(enamel(8)):
        where = replace(plain(setting(index, Look.SQUARE)), error=(0.0,) * 5)
        example = compose(where, draw_subject(one), one.make)
        grey = example.picture.astype(np.float32).mean(axis=2)
        ink = np.isin(example.seen, INK)
        bare = (example.seen == SEEN.index(Seen.ENAMEL)).astype(np.float32)
        ground = cv2.blur(grey * bare, (25, 25)) / np.maximum(cv2.blur(bare, (25, 25)), 1e-6)
        asked = ink & (cv2.blur(bare, (25, 25)) > 0.1)
        told.append((grey[asked] < ground[asked]).mean())
    assert np.median(told) > 0.9 and sum(share > 0.75 for share in told) >= 6, told


def test_twelve_points_to_the_top_of_the_face() -> None:
    """A face with one dark wedge at 12 o'clock, seen square: the wedge lies where `twelve` says."""
    one = enamel(1)[0]
    face = draw_subject(one)
    axis = (np.arange(2 * face.scale) + 0.5) / face.scale - 1
    x, y = np.meshgrid(axis, axis)
    wedge = (np.abs(x) < 0.04) & (y < -0.6) & (y > -0.9)
    colour = np.where(wedge[..., None], 0.0, [0.8, 0.8, 0.8]).astype(np.float32)
    marked = face._replace(colour=colour)
    for index in range(6):
        where = plain(setting(index, Look.SQUARE))
        example = compose(where, marked, Make.ENAMEL)
        distance = away(example, example.seen.shape)
        grey = example.picture.astype(float).mean(axis=2)
        inside = (distance > 0.5) & (distance < 0.95) & (example.seen != SEEN.index(Seen.OVERLAY))
        dark = np.argwhere(inside & (grey < 0.5 * np.median(grey[inside])))
        rel = (dark.mean(axis=0)[::-1] + 0.5 - example.outline.center_px) @ np.linalg.inv(root(example.outline)).T
        off = np.arctan2(rel[0], -rel[1]) - example.twelve
        assert abs((off + np.pi) % (2 * np.pi) - np.pi) < np.radians(3), index


def test_a_square_look_is_square_but_for_its_error() -> None:
    for index, one in enumerate(enamel(3)):
        where = replace(setting(index, Look.SQUARE), error=(0.0,) * 5, case=None)
        outline = compose(where, draw_subject(one), one.make).outline
        assert outline.center_px == pytest.approx((SIDE / 2, SIDE / 2), abs=0.01)
        assert outline.axes_px == pytest.approx((SQUARE, SQUARE), rel=1e-3)
        moved = compose(replace(where, error=(0.05, -0.02, 0.04, 0.04, 0.0)), draw_subject(one), one.make).outline
        assert np.subtract(moved.center_px, SIDE / 2) == pytest.approx([0.05 * SQUARE, -0.02 * SQUARE], abs=0.01)
        assert moved.axes_px == pytest.approx((SQUARE * np.exp(0.04),) * 2, rel=1e-3)


def test_no_dial_and_what_is_cut_off() -> None:
    where = replace(setting(5, Look.SCENE, dial=False), cut=(0.25, 0.0, 0.0, 0.5))
    example = compose(where, None, Make.NONE)
    height, width = example.seen.shape
    assert example.outline is None and set(np.unique(example.seen)) <= {0, SEEN.index(Seen.OVERLAY)}
    assert (example.picture[:, : round(0.25 * width)] == PADDING).all()
    assert (example.picture[height - round(0.5 * height) :] == PADDING).all()


def test_the_setting_knows_nothing_of_the_process() -> None:
    """Twins in one setting: the same outline, and the same names except where strokes lie or lay."""
    import cv2

    for index, one in enumerate(enamel(3)):
        where = setting(index, Look.SQUARE)
        twins = [
            compose(where, draw_subject(replace(one, dial=one.dial.as_process(process))), one.make)
            for process in (Process.HAND, Process.TRANSFER)
        ]
        first, second = twins
        assert first.outline == second.outline and first.twelve == second.twelve
        strokes = np.isin(first.seen, INK) | np.isin(second.seen, INK)
        elsewhere = cv2.dilate(strokes.astype(np.uint8), np.ones((3, 3), np.uint8)) == 0
        assert (first.seen == second.seen)[elsewhere].all() and elsewhere.mean() > 0.5
