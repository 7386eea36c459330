"""The experiment's other camera, its labels and its figures."""

import json
from dataclasses import replace

import cv2
import numpy as np
import pytest

from dialtell.synth.errors import ParameterError
from dialtell.train.adaptation import BookScan, chosen, interval, main, pair, sample_scan, scan

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


def test_dials_are_chosen_half_and_half():
    from test_photo_bags import dials

    pool = [
        replace(item, bag=_Sided(item.photo.dial_process)) for item in dials(9, "painted") + dials(9, "printed", 90)
    ]
    found = chosen(pool, 10, rng=np.random.default_rng(1))
    assert [item.bag.dial for item in found] == [1] * 5 + [0] * 5 and len({id(item) for item in found}) == 10
    with pytest.raises(ParameterError, match="of the painted dials is 20; give"):
        chosen(pool, 40, rng=np.random.default_rng(1))


class _Sided:
    def __init__(self, label):
        self.dial = int(label == "painted")


def test_interval_over_repeats():
    """t at 97.5 % with 2 degrees of freedom is 4.303 (tables)."""
    found = interval([0.8, 0.9, 1.0])
    assert found["mean"] == 0.9
    assert found["interval_95"] == pytest.approx([0.9 - 4.303 * 0.1 / 3**0.5, 0.9 + 4.303 * 0.1 / 3**0.5], abs=1e-3)
    assert interval([0.8])["interval_95"] is None


@pytest.mark.slow
def test_the_whole_experiment_small(make_weights, capsys, strict_json):
    words = ["--weights", str(make_weights()), "--sizes", "10", "--repeats", "2", "--pool", "14", "--test", "10"]
    words += ["--pairs", "2", "--watched", "8", "--steps", "20", "--workers", "1", "--device", "cpu"]
    assert main(words) == 0
    record = strict_json(capsys.readouterr().out)
    assert record["schema"] == "dialtell.adaptation/1" and [row["dials"] for row in record["after"]] == [10]
    assert len(record["after"][0]["auc_book"]["repeats"]) == 2
    json.dumps(record, allow_nan=False)


def test_weights_that_are_not_there(capsys):
    assert main(["--weights", "nowhere.safetensors"]) == 1
    assert "nowhere.safetensors: no such file" in capsys.readouterr().err
