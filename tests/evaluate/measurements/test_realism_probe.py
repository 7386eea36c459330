"""The probe that tells real patches from drawn ones, on drawn stand-ins for real photographs."""

from __future__ import annotations

import json
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image
from stand_ins import SCOPE, stand_ins
from trials.realism import probe
from trials.realism.patch_statistics import NAMES, patch_statistics
from trials.realism.probe import FOLDS, Patches, held_out, probed, sheet, telling

from dialtell.synth.shared.errors import ParameterError
from dialtell.train.stats.discrimination import auc

COUNT = 12  # photographs of a kind


def made(shift: float, *, clustered: bool = False) -> Patches:
    """Patches of noise, six a photograph; those of real ones are `shift` SDs off in one number. clustered : real
    photographs of one cluster are off each in the same way of its own, and in no other."""
    rng = np.random.default_rng(3)
    photo = np.repeat([f"{'r' if k < COUNT else 'd'}{k:02d}" for k in range(2 * COUNT)], 6)
    real = np.char.startswith(photo, "r")
    number = np.array([int(name[1:]) for name in photo])
    cluster = np.where(real, np.char.add("c", (number // 4).astype(str)), photo)
    values = rng.standard_normal((len(photo), 8))
    values[:, 0] += shift * real
    if clustered:
        values[:, 1:4] += 4.0 * np.eye(3)[np.minimum(number // 4, 2)] * real[:, None]
    blank = np.zeros((len(photo), 64, 64), dtype=np.float32)
    many = np.tile(values, 3)[:, : len(NAMES)]
    zone = np.zeros(len(photo), dtype=np.int64)
    return Patches(
        real, photo, cluster, np.arange(len(photo)), zone, zone * 0.0, blank, {"codes": values, "statistics": many},
        {name: np.zeros(8) for name in set(photo.tolist())},
    )  # fmt: skip


def test_the_probe_finds_what_is_there_and_nothing_else() -> None:
    told = probed(made(3.0), "codes")[0]
    assert told["by_patch"]["auc"] > 0.95 and told["by_photograph"]["auc"] > 0.97
    assert told["most_real"][0]["photo"].startswith("r") and told["most_drawn"][0]["photo"].startswith("d")
    photos = [one["photo"] for one in told["most_real"]]
    assert max(photos.count(photo) for photo in photos) <= probe.OF_ONE
    nothing = probed(made(0.0), "codes")[0]["by_patch"]["auc"]
    assert 0.3 < nothing < 0.65


def test_photographs_of_one_cluster_do_not_teach_each_other() -> None:
    patches = made(0.0, clustered=True)
    apart = auc(patches.real, held_out(patches.values["codes"], patches, 0.01, patches.cluster))
    loose = auc(patches.real, held_out(patches.values["codes"], patches, 0.01, patches.photo))
    assert loose > 0.9 > apart + 0.2


def test_the_telling_statistic_comes_first() -> None:
    first, *_ = telling(made(2.0)).items()
    names = list(NAMES)
    assert first[0] in (names[0], names[8], names[16])  # the one number that differs, three times over
    assert first[1]["by_patch"] > 0.85 and first[1]["real"] > first[1]["drawn"]


def test_statistics_say_what_they_are_named_for() -> None:
    plain = np.zeros((64, 64), dtype=np.float32)
    plain[:, 20:32] = 1.0  # a broad stroke
    plain[:, 48:50] = 0.6  # a thin one
    noise = np.random.default_rng(1).normal(0, 0.02, plain.shape).astype(np.float32)
    soft = cv2.GaussianBlur(plain, (0, 0), 2.0)
    sharpened = plain + 0.6 * (plain - soft)
    faint = plain.copy()
    faint[:, 48:50] = 0.2
    patches = np.stack([plain, plain + noise, soft, sharpened, faint])
    found = {name: column for name, column in zip(NAMES, patch_statistics(patches).T, strict=True)}
    assert found["ink share"][0] == pytest.approx(14 / 64)
    assert found["fine noise"][1] > found["fine noise"][0] + 1
    assert found["steep edges"][2] < 0.6 * found["steep edges"][0] and found["soft px"][2] > found["soft px"][0]
    halo = found["near halo"]
    assert halo[0] == pytest.approx(0.0) and halo[3] < -0.01 and halo[2] > 0.01  # of sharpening, of a soft picture
    assert found["lightest"][3] < -0.05
    assert found["thin against thick"][4] < found["thin against thick"][0]
    assert found["fine detail"][2] < found["fine detail"][0]
    empty = patch_statistics(np.zeros((1, 64, 64), dtype=np.float32))
    assert empty.shape == (1, len(NAMES)) and empty[0, 0] == 0.0


def test_the_trial_runs_on_stand_ins(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    photos, table = stand_ins(tmp_path, FOLDS + 1, SCOPE, first=40)
    out, picture = tmp_path / "out.json", tmp_path / "sheet.png"
    arguments = ["--photos", str(photos), "--list", str(table), "--count", str(FOLDS + 2), "--range", "tilt=5.0",
                 "wear=(0.0, 0.1)", "--json", str(out), "--sheet", str(picture)]  # fmt: skip
    assert probe.main(arguments) == 0
    assert "by statistics" in capsys.readouterr().out
    found = json.loads(out.read_text())
    assert found["photographs"]["real"] >= FOLDS and set(found["probes"]) == {"codes", "statistics"}
    assert set(found["statistics"]) <= set(NAMES) and found["whole"]["full density"]["n"] >= 2 * FOLDS
    with Image.open(picture) as shown:
        assert shown.size == sheet(made(1.0), probed(made(1.0), "codes")[0]).size
    assert probe.main([*arguments[:4], "--sheet", str(Path(probe.__file__).parent / "a.png")]) == 1
    with pytest.raises(ParameterError, match="at least"):
        probe.gather([], probe.load_weights())
