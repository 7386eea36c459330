"""The bound: one resolution a picture, twins alike but for their process, figures known by hand, the whole in small."""

import json
from dataclasses import replace

import numpy as np
import pytest
from trials.training import bound
from trials.training.bound import CLEAN, FRESH_SEED, VIEWS, cleaned, figures, finest, pair, placed, true_px_per_mm

from dialtell.synth.scene import sample_spec
from dialtell.synth.shared.terms import ZONES, Zone

SMALL = replace(CLEAN, jitter=0.5)


@pytest.mark.parametrize("view", VIEWS, ids=lambda view: view.name)
def test_a_picture_has_a_resolution_of_its_view_and_is_the_same_again(view):
    low, high = view.px_per_mm
    specs = [placed(3, index, SMALL, view) for index in range(12)]
    scales = [spec.view.px_per_mm for spec in specs]
    assert low <= min(scales) < 0.6 * max(scales) and max(scales) <= high
    assert placed(3, 5, SMALL, view) == specs[5]
    for spec in specs:
        field = max(spec.view.shape) / spec.view.px_per_mm  # mm
        if view.finer > 1:
            assert field <= 2.01 * spec.design.radius_mm / view.finer
    # the factor changes nothing but the hand
    other = placed(3, 5, replace(SMALL, jitter=1.0), view)
    assert replace(other, making=specs[5].making) == specs[5] and other.making != specs[5].making


def test_a_clean_camera_is_in_focus_and_keeps_its_tones():
    for index in range(20):
        camera = sample_spec(5, index).camera
        clean = cleaned(camera)
        assert clean.sigma_px <= 0.7 and clean.defocus_px == clean.focus_px == 0.0 and clean.motion_px == 0
        assert clean.resolution == 1.0 and min(clean.jpeg_after, default=90) >= 90
        assert (clean.gamma, clean.contrast, clean.balance) == (camera.gamma, camera.contrast, camera.balance)


@pytest.mark.parametrize("view", VIEWS, ids=lambda view: view.name)
def test_twins_are_read_alike(view):
    found = [bags for index in range(4) if (bags := pair(FRESH_SEED, index, SMALL, view))]
    assert len(found) >= 3
    for painted, printed in found:
        assert (painted.dial, printed.dial, painted.index) == (1, 0, printed.index)
        assert abs(painted.resolution - printed.resolution) < 0.4
        if view.finer > 1:
            assert set(painted.zone.tolist()) == {ZONES.index(Zone.OTHER)}
            assert painted.hand[ZONES.index(Zone.OTHER)] == 1 and (painted.hand >= 0).sum() == 1
        scale = placed(FRESH_SEED, painted.index, SMALL, view).view.px_per_mm
        per_mm = true_px_per_mm(painted, SMALL, view)
        assert np.isnan(per_mm) or 0.4 * scale < per_mm < 1.05 * scale


def test_figures_by_hand():
    """Ten painted dials, eight above all ten printed ones and two below them all."""
    painted = np.repeat([True, False], 10)
    logits = np.concatenate([np.arange(8) + 20.0, [-2.0, -1.0], np.arange(10.0)])
    found = figures(painted, logits, np.tile(np.arange(10), 2))
    assert found["auc"] == pytest.approx(0.8) and found["told"] == pytest.approx(0.8) and found["pictures"] == 10
    assert found["low"] < 0.8 < found["high"]
    assert figures(painted[6:], logits[6:], np.arange(14)) is None


def test_each_band_is_drawn_from_the_finest_view():
    def row(view, low, factor=1.0, zone="whole"):
        return {"factor": factor, "view": view, "zone": zone, "px_per_mm": [low, low + 5], "auc": 0.9}

    rows = [row("near", 27), row("dial", 27), row("dial", 9), row("dial", 9, zone="numerals"), row("dial", 9, 0.25)]
    found = finest([*rows, row("microscope", 27), row("near", 40)])
    assert list(found) == [(1.0, True), (1.0, False), (0.25, True)]
    assert [(r["view"], r["px_per_mm"][0]) for r in found[1.0, True]] == [("dial", 9), ("dial", 27)]
    assert [(r["view"], r["px_per_mm"][0]) for r in found[1.0, False]] == [("microscope", 27), ("near", 40)]


def test_the_whole_in_small_is_kept_after_each_net(tmp_path, monkeypatch, capsys):
    seen = []
    keep = bound.keep
    monkeypatch.setattr(bound, "keep", lambda folder, rows, about: (keep(folder, rows, about), seen.append(len(rows))))
    monkeypatch.setattr(bound, "FEWEST", 2)
    words = ["--preset", "tiny", "--pairs", "4", "--workers", "1", "--device", "cpu", "--start", "none", "--count", "9"]
    words += ["--factors", "0.5,2", "--views", "microscope", "--range", "nowhere=1"]
    assert bound.main([*words, "--out", str(tmp_path / "a")]) == 0
    record = json.loads((tmp_path / "a" / "bound.json").read_text())
    assert [row["factor"] for row in record["rows"]] == sorted((row["factor"] for row in record["rows"]), reverse=True)
    assert len(seen) == 2 and 0 < seen[0] < seen[1] == len(record["rows"])
    assert (tmp_path / "a" / "bound.png").read_bytes()[:4] == b"\x89PNG"
    assert "microscope" in capsys.readouterr().out
    one = str(tmp_path / "a" / "bound.json")
    assert bound.main(["--out", str(tmp_path / "b"), "--join", one, one]) == 0
    assert len(json.loads((tmp_path / "b" / "bound.json").read_text())["rows"]) == 2 * len(record["rows"])


def test_wrong_words_are_refused(tmp_path, capsys):
    assert bound.main(["--out", str(tmp_path), "--views", "moon"]) == 1
    assert bound.main(["--out", str(tmp_path), "--factors", "much"]) == 1
    assert bound.main(["--out", str(tmp_path), "--untaught", "--start", "none"]) == 1
    (tmp_path / "x.json").write_text("{}")
    assert bound.main(["--out", str(tmp_path), "--join", str(tmp_path / "x.json")]) == 1
    assert capsys.readouterr().err.count("bound: error") == 4
