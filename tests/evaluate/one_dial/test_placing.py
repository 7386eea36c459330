"""Close-ups laid on a whole view: drawn dials of known truth, and places that repeat."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import lru_cache

import cv2
import numpy as np
import pytest
from trials.reading.one_dial import FOREIGN, OWN, WRONG, Laid, field_spec, figures, off_place, whole_spec

from dialtell.evaluate.compare.registration import DialSheet
from dialtell.evaluate.one_dial.features import features_of
from dialtell.evaluate.one_dial.fitting import Field, agreeing, judged, laid, likeness, pulled, sound, turned
from dialtell.evaluate.one_dial.placing import (
    LEAST_WHOLE,
    Placing,
    WholeView,
    _geometry,
    _surround,
    field_of,
    place_field,
    whole_view,
)
from dialtell.model.reading.steps import read_at, read_within
from dialtell.synth.scene import DialSpec, photograph
from dialtell.train.bags.bags import known_geometry, photo_of

SET = 7_700_219


@lru_cache(maxsize=4)
def viewed(index: int) -> tuple[DialSpec, WholeView]:
    spec = whole_spec(SET, index)
    geometry = known_geometry(spec, rng=np.random.default_rng(0), jitter=1.0)
    return spec, whole_view(read_at(photo_of(photograph(spec)), geometry, geometry.twelve_deg))


@lru_cache(maxsize=8)
def shot(index: int, number: int) -> tuple[DialSpec, Field]:
    spec = field_spec(viewed(index)[0], number)
    return spec, field_of(photo_of(photograph(spec)))


def placed_right(index: int, number: int, within: float) -> tuple[Field, Placing]:
    """A field and where it was laid, off by less than `within` dial radii."""
    spec, view = viewed(index)
    taken, field = shot(index, number)
    placing = place_field(field, view)
    assert placing.placed, placing.reason
    assert off_place(placing, taken, spec, view) < within
    return field, placing


def test_fields_lie_where_they_were_taken_and_nowhere_on_another_dial() -> None:
    for number in (0, 1):
        field, placing = placed_right(4, number, 0.01)
        # left over: hundredths of a radius are tenths of a millimetre
        assert placing.residual < 0.004 and placing.rival < 0.6
        assert not place_field(field, viewed(2)[1]).placed


def test_fields_whose_finest_features_the_whole_view_has_not_are_placed() -> None:
    # looked for at 512 px their features lead elsewhere
    for number in (0, 1):
        placed_right(41, number, 0.015)


def test_figures_of_one_pattern_do_not_make_one_dial() -> None:
    # both have the same Roman figures, one a ring and small figures that the other has not
    placing = place_field(shot(805, 0)[1], viewed(804)[1])
    assert placing.fit is not None and placing.fit.likeness > 0.9 and not placing.placed


def test_a_laid_field_is_read_in_the_dials_own_frame() -> None:
    spec, view = viewed(4)
    taken, field = shot(4, 0)
    placing = place_field(field, view)
    assert placing.geometry is not None
    reading = read_within(photo_of(photograph(taken)), placing.geometry, view.reading)
    whole = view.reading.patches
    # patches of both stand at the same places of the dial and are of the same zones
    near = np.hypot(*(reading.patches.center[:, None] - whole.center[None]).transpose(2, 0, 1)).min(axis=1) < 1e-9
    assert len(near) > 20 and near.mean() > 0.8
    assert reading.zones.track == view.reading.zones.track and reading.zones.seconds == view.reading.zones.seconds
    # finer by what the scales differ by; what each truly resolves is less
    scale = taken.view.px_per_mm / spec.view.px_per_mm
    assert reading.geometry.pixels_per_radius / view.reading.geometry.pixels_per_radius == pytest.approx(scale, rel=0.1)
    assert reading.divisions is not None and view.reading.divisions is not None
    turn = reading.geometry.rotation - view.reading.geometry.rotation
    assert reading.divisions.phase - view.reading.divisions.phase == pytest.approx(turn)


def test_a_place_is_told_as_a_geometry_exactly() -> None:
    rng = np.random.default_rng(3)
    for _ in range(20):
        turn, tilt, grow = rng.uniform(-math.pi, math.pi), rng.uniform(0, 0.5), rng.uniform(0.001, 0.01)
        c, s = math.cos(turn), math.sin(turn)
        away = rng.normal(size=2)
        away /= np.hypot(*away)
        linear = grow * np.array([[c, -s], [s, c]]) @ (np.eye(2) + tilt * np.outer(away, away))
        matrix = np.column_stack([linear, rng.normal(size=2)])
        geometry = _geometry(matrix, 0.4)
        points = rng.uniform(0, 500, (9, 2))
        assert geometry.to_dial(points / 0.4) == pytest.approx(points @ linear.T + matrix[:, 2], abs=1e-9)


def _sheet(picture: np.ndarray, scale: float) -> DialSheet:
    return DialSheet(picture.astype(np.float32), np.ones(picture.shape, bool), scale)


def _field(ink: np.ndarray) -> Field:
    everywhere = np.ones(ink.shape, bool)
    return Field(ink, everywhere, 1.0, everywhere)


def _ring(odd: bool) -> np.ndarray:
    """A dial of twelve equal marks, at 150 px a radius; odd : one of them is another."""
    picture = np.zeros((300, 300), np.float32)
    for hour in range(12):
        angle = hour * math.pi / 6
        x, y = 150 + 95 * math.sin(angle), 150 - 95 * math.cos(angle)
        tilted = cv2.boxPoints(((x, y), (26 if odd and hour == 3 else 8, 34), math.degrees(angle)))
        cv2.fillPoly(picture, [np.round(tilted).astype(np.int32)], 1.0)
        side = cv2.boxPoints(((x + 9 * math.cos(angle), y + 9 * math.sin(angle)), (5, 14), math.degrees(angle)))
        cv2.fillPoly(picture, [np.round(side).astype(np.int32)], 1.0)
    return cv2.GaussianBlur(picture, (0, 0), 1.0)


def _on(picture: np.ndarray) -> WholeView:
    _, view = viewed(4)  # for all that is not looked at here
    sheet, coarse = _sheet(picture, 150.0), _sheet(cv2.resize(picture, (240, 240), interpolation=cv2.INTER_AREA), 120.0)
    return WholeView(view.reading, sheet, coarse, features_of(sheet.ink, sheet.seen))


@pytest.mark.parametrize("odd", [True, False])
def test_what_repeats_fits_several_places(odd: bool) -> None:
    picture = _ring(odd)
    cut = cv2.resize(picture[75:225, 160:290], None, fx=3, fy=3, interpolation=cv2.INTER_CUBIC)
    placing = place_field(_field(np.clip(cut, 0, 1)), _on(picture))
    assert placing.fit is not None and placing.fit.likeness > 0.95
    if odd:
        assert placing.placed and placing.fit.at(np.array([[195.0, 225.0]]))[0] == pytest.approx([0.5, 0.0], abs=0.02)
    else:
        assert placing.rival > 0.9 and "several places" in placing.reason


def test_a_hair_thin_ring_that_a_whole_view_shows_faintly_agrees() -> None:
    def drawn(depth: float, radius: float) -> DialSheet:
        ink = np.zeros((400, 400), np.float32)
        cv2.circle(ink, (200, 200), round(200 * radius), depth, 1, cv2.LINE_AA)
        return DialSheet(np.asarray(cv2.GaussianBlur(ink, (0, 0), 0.7), np.float32), np.ones(ink.shape, bool), 200.0)

    # the whole dial as one field, its px 1/200 of a radius
    field, matrix = _field(np.zeros((400, 400), np.float32)), np.array([[0.005, 0.0, -1.0], [0.0, 0.005, -1.0]])
    near, faint, elsewhere = drawn(0.8, 0.7), drawn(0.12, 0.7), drawn(0.12, 0.78)
    assert agreeing(near, faint, field, matrix) > 0.95
    assert agreeing(near, elsewhere, field, matrix) < 0.3
    bare = DialSheet(np.zeros_like(near.ink), near.seen, near.scale)
    assert agreeing(near, bare, field, matrix) == 0.0


def test_a_veil_of_light_hides_no_likeness() -> None:
    picture = _ring(odd=True)
    field, matrix = _field(picture), np.array([[1 / 150, 0, -1.0], [0, 1 / 150, -1.0]])
    x = np.linspace(0, 1, 300, dtype=np.float32)[None]
    veiled = _sheet(0.3 * picture + 0.6 * x, 150.0)  # strokes at a third, enamel that grows dark towards one side
    assert likeness(laid(field, matrix, 150.0), veiled, field, matrix) > 0.9
    assert abs(likeness(laid(field, matrix, 150.0), _sheet(0.6 * x + 0 * picture, 150.0), field, matrix)) < 0.2


def test_a_lens_mixes_light_not_ink() -> None:
    ink = np.zeros((128, 128), np.float32)
    ink[:, ::4] = 1.0  # strokes a quarter as wide as they stand apart
    small, seen = replace(_field(ink), full=1.2).steps[4]
    assert seen.min() == 1.0
    assert small.mean() == pytest.approx(-math.log10(0.75 + 0.25 * 10**-1.2) / 1.2, abs=0.005)


def test_places_too_near_an_edge_to_be_looked_for_count_neither_way() -> None:
    picture = _ring(odd=True)
    matrix = np.array([[1 / 150, 0, -1.0], [0, 1 / 150, -1.0]])
    whole = judged(_field(picture), _sheet(picture, 150.0), matrix)
    seen = np.ones(picture.shape, bool)
    seen[:, :152] = False  # through the marks at the top and at the bottom
    cut = judged(Field(picture, seen, 1.0, seen), _sheet(picture, 150.0), matrix)
    assert whole.share > 0.99 and cut.share > 0.97 and 0.35 < cut.sites / whole.sites < 0.55


def test_the_right_place_is_a_rival_though_a_veil_lies_over_it() -> None:
    # the twelve equal marks: where the field was taken, ink of the whole view stands under a veil
    picture = _ring(odd=False)
    cut = cv2.resize(picture[75:225, 160:290], None, fx=3, fy=3, interpolation=cv2.INTER_CUBIC)
    y, x = np.indices(picture.shape)
    veil = 0.5 * np.exp(-0.5 * (np.hypot(x - 245, y - 150) / 60) ** 2)
    placing = place_field(_field(np.clip(cut, 0, 1)), _on(picture * (1 - veil) + veil))
    assert not placing.placed and placing.rival > 0.6


def test_bare_enamel_and_vague_views_are_refused() -> None:
    _, view = viewed(4)
    bare = _field(np.zeros((300, 400), np.float32))
    assert "too few" in place_field(bare, view).reason
    blunt = replace(view.reading.sharpness, true_pixels_per_radius=0.9 * LEAST_WHOLE)
    vague = replace(view, reading=replace(view.reading, sharpness=blunt))
    assert "too vague" in place_field(shot(4, 0)[1], vague).reason


def test_the_dark_round_an_eyepiece_is_no_ink() -> None:
    y, x = np.indices((300, 400))
    light = np.where(np.hypot(x - 200, y - 150) < 160, 0.6, 0.1).astype(np.float32)
    light[100:200, 190:206] = 0.05  # a thick stem
    dark = _surround(light)
    assert dark[2, 2] and dark[297, 397] and not dark[150, 198] and not dark[150, 100]
    assert dark.mean() == pytest.approx((np.hypot(x - 200, y - 150) > 156).mean(), abs=0.02)


def test_pulling_mends_a_rough_place() -> None:
    picture = _ring(odd=True)
    field = _field(picture)
    true = np.array([[1 / 150, 0, -1.0], [0, 1 / 150, -1.0]])
    rough = turned(true, 0.03)
    rough[:, 2] += (0.02, -0.015)
    fit = pulled(field, _sheet(picture, 150.0), rough)
    assert fit is not None and np.abs(fit.at(field.grid) - (field.grid @ true[:, :2].T + true[:, 2])).max() < 0.004
    assert not sound(np.array([[1.0, 0, 0], [0, -1.0, 0]]))  # mirrored


def test_counts_of_the_trial() -> None:
    right = Laid(0, 0, OWN, True, "", 0.01, spread=0.002, radius_mm=20.0)
    laid = [right, replace(right, off=2 * WRONG), replace(right, placed=False, reason="it fits nowhere"),
            replace(right, kind=FOREIGN, off=math.nan)]  # fmt: skip
    shares = {name: (one["count"], one["of"]) for name, one in figures(laid, 3, 1)["shares"].items()}
    assert shares["fields placed wrongly, of all"] == (1, 3) and shares["fields not placed, of all"] == (1, 3)
    assert shares["fields of another dial merged"] == (1, 1) and shares["whole views not read"] == (1, 3)
