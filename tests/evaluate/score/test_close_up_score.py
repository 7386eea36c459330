"""Scoring close-ups: the record says what is known of the place and scale, and the least of the evidence counts."""

import cv2
import numpy as np
import pytest
from score_schema import check_dial

from dialtell.evaluate.score.close_up import least
from dialtell.evaluate.score.score import score_photo, score_photos
from dialtell.model.net.verdict import ProcessEvidence, Verdict
from dialtell.model.net.weights_file import load_weights
from dialtell.model.reading.known import Known
from dialtell.synth.shared.terms import Zone


def verdict(ratio):
    return Verdict(ProcessEvidence(30, ratio), {zone: ProcessEvidence(0) for zone in Zone})


@pytest.mark.parametrize(
    ("ratios", "index", "contradicts"),
    [([1.5], 0, False), ([1.5, 0.4, 2.0], 1, False), ([-1.5, -0.9, -2.0], 1, False), ([1.5, 1.2, -0.3], 2, True),
     ([1.5, None, -0.3], 1, False)],
)  # fmt: skip
def test_the_least_evidence_counts(ratios, index, contradicts):
    assert least([verdict(ratio) for ratio in ratios]) == (index, contradicts)


@pytest.fixture(scope="module")
def weights(make_weights):
    return load_weights(make_weights(9.0, 9.0))


@pytest.fixture(scope="module")
def close(drawn_photo, drawn_truth, tmp_path_factory):
    """Figures and hub of the drawn dial, no track; three times as large."""
    pixels = cv2.imread(str(drawn_photo))
    x, y, a = *drawn_truth.dial.center_px, drawn_truth.dial.axes_px[0]
    part = pixels[round(y - 0.84 * a) : round(y - 0.3 * a), round(x - 0.45 * a) : round(x + 0.45 * a)]
    path = tmp_path_factory.mktemp("close") / "close.png"
    cv2.imwrite(str(path), part)
    return path


def test_without_the_flag_there_is_no_dial(close, weights):
    record = score_photo(close, weights).record
    assert record["geometry"] is None and record["call"] == "undetermined"


def test_scale_given_with_the_size(close, weights, drawn_truth):
    per_mm = drawn_truth.dial.pixels_per_radius / 22.0
    scored = score_photo(close, weights, known=Known(diameter_mm=44.0, pixels_per_mm=per_mm))
    check_dial(scored.record)
    about = scored.record["close_up"]
    assert about == {
        "located": False,
        "pixels_per_radius": pytest.approx(drawn_truth.dial.pixels_per_radius, rel=1e-3),
        "scale_spread": 0.0,
        "scale_source": "as given",
    }
    assert scored.record["geometry"]["pixels_per_mm"] == pytest.approx(per_mm, rel=1e-3)
    judged = [zone["zone"] for zone in scored.record["zones"] if zone["judged"]]
    assert judged == ["other"] and "signature" not in scored.record["reason"]
    assert any("does not show where on the dial" in text for text in scored.record["warnings"])


def test_rough_scale_is_said(close, weights, drawn_truth):
    scored = score_photo(close, weights, known=Known(pixels_per_mm=drawn_truth.dial.pixels_per_radius / 22.0))
    check_dial(scored.record)
    assert scored.record["close_up"]["scale_spread"] == pytest.approx(0.2)
    assert any("only to within 20%" in text for text in scored.record["warnings"])


def test_unknown_scale_is_a_result(tmp_path, weights):
    path = tmp_path / "bare.png"
    cv2.imwrite(str(path), np.full((400, 500, 3), 230, np.uint8))
    document = score_photos([path], weights, known=Known(close_up=True))
    (dial,) = document["dials"]
    check_dial(dial)
    assert not document["errors"] and dial["call"] == "undetermined" and "close_up" not in dial
    assert (
        dial["reason"].startswith("Not judged: the scale of this close-up is unknown")
        and "--px-per-mm" in dial["reason"]
    )
