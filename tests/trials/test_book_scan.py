"""The other camera: what it does to a picture, and the same dial seen by both."""

from dataclasses import replace

import cv2
import numpy as np
import pytest
from trials.training import book_scan
from trials.training.book_scan import BookScan, pair, pairs, sample_scan, scan

from dialtell.synth.shared.errors import ParameterError

PAGE = BookScan(blur_px=1.6, middle=0.5, hardness=9.0, black=0.2, grain=0.03, grain_px=1.0, seed=3)


def edge(dark, height=80, width=120):
    """A white field with a black half."""
    field = np.full((height, width, 3), 235, np.uint8)
    field[:, width // 2 :] = dark
    return field


def test_a_page_is_grey_soft_and_never_black():
    clean = replace(PAGE, grain=0.0)
    seen = scan(clean, edge(20))
    assert (seen == seen[..., :1]).all()
    row = seen[40, :, 0].astype(float)
    assert row.min() == pytest.approx(255 * 0.2, abs=6)  # the lifted black
    span = row[5] - row[-5]
    between = ((row > row[-5] + 0.1 * span) & (row < row[5] - 0.1 * span)).sum()
    sharp = scan(replace(clean, blur_px=0.0), edge(20))[40, :, 0].astype(float)
    assert between >= 2 and ((sharp > sharp[-5] + 0.1 * span) & (sharp < sharp[5] - 0.1 * span)).sum() == 0


def test_hard_contrast_takes_faint_strokes_to_the_paper():
    """Codes well above and below the middle move apart: what is faint is lost, what is dark is flat."""
    grey = np.repeat(np.linspace(20, 235, 216, dtype=np.uint8)[None, :, None], 3, axis=2).repeat(40, axis=0)
    seen = scan(replace(PAGE, grain=0.0, blur_px=0.0), grey)[0, :, 0].astype(float)
    slope = np.diff(cv2.blur(seen[None], (9, 1))[0])
    assert slope[5:-5].argmax() > 60 and slope[100] > 3 * slope[-8]


def test_grain_is_as_strong_as_said_and_replayable():
    flat = np.full((200, 200, 3), 230, np.uint8)
    seen = scan(PAGE, flat)
    assert (seen[..., 0] / 255).std() == pytest.approx(0.03, rel=0.1)
    assert np.array_equal(seen, scan(PAGE, flat)) and not np.array_equal(seen, scan(replace(PAGE, seed=4), flat))


def test_pages_differ_and_stay_in_range():
    pages = {sample_scan(rng=np.random.default_rng(seed)) for seed in range(20)}
    assert len(pages) == 20
    with pytest.raises(ParameterError, match=r"grain is 0\.5; give"):
        replace(PAGE, grain=0.5)


def test_one_dial_in_two_cameras():
    """The same labels and the same dial, other patches."""
    ordinary, book = next(found for index in (1, 3, 5) if (found := pair(12, index)))
    assert ordinary.dial == book.dial and ordinary.photo == book.photo
    assert ordinary.bag.dial == book.bag.dial == 0 and (book.bag.hand == 0).all()
    assert book.bag.resolution <= ordinary.bag.resolution


def test_kept_dials_are_those_that_were_drawn(tmp_path, monkeypatch):
    """A second run renders nothing and has the same bags, in order, without those that cannot be read."""
    first = pairs(12, 3, 1, tmp_path)
    monkeypatch.setattr(book_scan, "render", None)
    again = pairs(12, 3, 1, tmp_path)
    assert len(again) == len(first) >= 2
    for one, other in zip(first, again, strict=True):
        for old, new in zip(one, other, strict=True):
            assert old.photo == new.photo and old.dial == new.dial and old.bag.resolution == new.bag.resolution
            assert np.array_equal(old.bag.density, new.bag.density) and np.array_equal(old.bag.zone, new.bag.zone)
            assert np.array_equal(old.bag.hand, new.bag.hand) and old.bag.index == new.bag.index
