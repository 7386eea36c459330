"""A cut out of a photograph is known as one; another photograph of the same dial is not."""

from __future__ import annotations

import io

import cv2
import numpy as np
import pytest
from PIL import Image

from dialtell.evaluate.one_dial.same_photograph import cut_from
from dialtell.model.reading.photo import grey_light
from dialtell.synth.scene import Range, photograph, sample_spec

SPEC = sample_spec(7_700_219, 4, Range(pixels_per_radius=(500.0, 510.0)))


@pytest.fixture(scope="module")
def picture():
    return photograph(SPEC)


@pytest.mark.parametrize(("top", "left", "side"), [(311, 257, 300), (0, 0, 400), (501, 403, 160)])
@pytest.mark.parametrize("quality", [None, 88])
def test_a_cut_is_found_also_where_it_was_written_anew(picture, top, left, side, quality):
    cut = picture[top : top + side, left : left + side]
    if quality:
        file = io.BytesIO()
        Image.fromarray(cut).save(file, "JPEG", quality=quality)
        cut = np.asarray(Image.open(file))
    assert cut_from(grey_light(cut), grey_light(picture))
    assert not cut_from(grey_light(picture), grey_light(cut))  # the larger is no cut of the smaller


def test_another_photograph_of_the_dial_is_none(picture):
    light = grey_light(picture)
    for turn, scale in ((0.8, 1.0), (0.0, 1.02), (90.0, 1.0)):  # degrees, and how much nearer
        onto = cv2.getRotationMatrix2D((546, 700), turn, scale)
        other = cv2.warpAffine(light, onto, light.shape[::-1], flags=cv2.INTER_CUBIC)
        assert not cut_from(other[300:600, 250:550], light), (turn, scale)


def test_bare_pictures_are_no_cuts():
    assert not cut_from(np.full((100, 100), 0.5, np.float32), np.full((300, 300), 0.5, np.float32))
    assert not cut_from(np.zeros((8, 8), np.float32), np.zeros((300, 300), np.float32))
