"""`dialtell train --photos`: from a table of labels to weights that say what they were adapted to, and at what cost."""

import csv
import json

import numpy as np
import pytest
import torch
from inline_supply import InlineSupply
from PIL import Image
from score_schema import check_document

from dialtell.evaluate.cli.main import main
from dialtell.evaluate.score.score import score_photos
from dialtell.model.net.weights_file import load_weights
from dialtell.synth.scene import Range, render, sample_spec
from dialtell.synth.shared.errors import OutputError, ParameterError
from dialtell.synth.shared.terms import Process
from dialtell.train.bags.bags import known_geometry
from dialtell.train.photographs.adapt import AdaptConfig
from dialtell.train.photographs.adapt_run import adapt_to_photographs, ratio_figures
from dialtell.train.run.card import card_text, closing_words

SCOPE = Range(max_side=420, pixels_per_radius=(120, 180))
SEEN = Range(max_side=420, pixels_per_radius=(160, 180), hands_off=1.0, wear=(0, 0))
CONFIG = AdaptConfig(steps=20, every=10, photos=2, drawn=2, patches=8, pairs=2, watched=8)
CPU = torch.device("cpu")


@pytest.fixture(scope="module")
def labels(tmp_path_factory):
    """Twelve drawn dials as PNG files, half of them printed, with the outlines as a labeller gives them."""
    folder = tmp_path_factory.mktemp("photos")
    rows = []
    for index in range(12):
        process = Process.TRANSFER if index % 2 else Process.HAND
        spec = sample_spec(
            41, index, Range(max_side=420, pixels_per_radius=(160, 180), hands_off=1.0, wear=(0, 0)), process
        )
        Image.fromarray(render(spec)).save(folder / f"{index}.png")
        seen = known_geometry(spec, rng=np.random.default_rng(0), jitter=0.0)
        outline = " ".join(f"{value:.2f}" for value in (*seen.center_px, *seen.axes_px, np.degrees(seen.angle)))
        rows.append((f"{index}.png", f"watch {index}", "printed" if index % 2 else "painted", outline))
    path = folder / "labels.csv"
    with path.open("w", newline="") as file:
        csv.writer(file).writerows([("photo", "dial", "dial_process", "outline"), *rows])
    return path


def run(labels, weights, folder):
    return adapt_to_photographs(
        labels, weights, folder, InlineSupply(), config=CONFIG, scope=SCOPE, calibration=12, device=CPU, name="mine",
        version="1", command="dialtell train --photos labels.csv",
    )  # fmt: skip


@pytest.fixture(scope="module")
def adapted(labels, make_weights, tmp_path_factory):
    folder = tmp_path_factory.mktemp("runs") / "mine"
    return run(labels, load_weights(make_weights()), folder)


def test_weights_say_what_they_were_adapted_to(adapted, make_weights):
    record = load_weights(adapted).record
    used = record["training"]["photographs"]
    assert used["learnt"]["painted"] == used["learnt"]["printed"] == 4
    assert used["held_out"]["painted"] == used["held_out"]["printed"] == 2 and used["left_out"] == 0
    origin = record["training"]["config"]["origin"]
    assert origin["sha256"] == load_weights(make_weights()).sha256
    assert "labels.csv" not in json.dumps({k: v for k, v in record["training"].items() if k != "command"})  # no names
    figures = record["figures"]["adaptation"]
    for moment in ("before", "after"):
        row = figures["photographs"][moment]
        assert row["right"] + row["wrong"] + row["undetermined"] == row["painted"] + row["printed"] == 4
        assert figures["drawn"][moment]["n"] == record["figures"]["dial"][0]["n"]
    assert figures["drawn"]["after"] == record["figures"]["dial"][0]


def test_the_card_shows_before_and_after(adapted):
    card = (adapted.parent / "MODEL_CARD.md").read_text()
    assert card == card_text(load_weights(adapted).record)
    for words in ("8 photographs of 4 painted, 4 printed and 0 other dials labelled by the user",
                  "figures after it flatter", "| held-out photographs, before | 2 / 2 |",
                  "| held-out photographs, after | 2 / 2 |",
                  "| drawn dials, after |", "Begun with the weights untrained 0"):  # fmt: skip
        assert words in card
    assert "No photograph was used" not in card
    told = closing_words(adapted, load_weights(adapted).record)
    row = load_weights(adapted).record["figures"]["adaptation"]["photographs"]["after"]
    assert f"held out, after: {row['right']} right, {row['wrong']} wrong, {row['undetermined']} undetermined" in told
    assert len(told.splitlines()) == 6


def test_who_was_used_how_stays_beside_the_run(adapted):
    with (adapted.parent / "photographs.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    assert sorted(row["used"] for row in rows) == ["held out"] * 4 + ["learnt"] * 8
    assert {row["photo"] for row in rows} == {f"{index}.png" for index in range(12)}
    with (adapted.parent / "looks.csv").open(newline="") as file:
        assert [row["step"] for row in csv.DictReader(file)] == ["0", "10", "20"]


def test_adapted_weights_score(adapted, labels):
    check_document(score_photos([labels.parent / "3.png"], load_weights(adapted)))


def test_the_same_labels_give_the_same_weights(adapted, labels, make_weights, tmp_path):
    again = run(labels, load_weights(make_weights()), tmp_path / "again")
    assert again.read_bytes() == adapted.read_bytes()


def test_a_folder_with_a_run_is_left_alone(adapted, labels, make_weights):
    with pytest.raises(OutputError, match="holds a run already; give another --out"):
        run(labels, load_weights(make_weights()), adapted.parent)


def test_faults_are_named_by_row_before_anything_is_drawn(labels, make_weights, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    weights = str(make_weights())

    def told(*rows):
        path = labels.parent / "faulty.csv"
        path.write_text("\n".join(["photo,dial,dial_process", *rows]) + "\n")
        words = ["train", "--photos", str(path), "--from", weights, "--out", "new", "--workers", "1", "--device", "cpu"]
        assert main(words) == 1
        assert not (tmp_path / "new").exists()
        return capsys.readouterr().err

    assert "row 3: dial_process is 'hand'" in told("0.png,a,painted", "1.png,b,hand")
    assert "row 2: " in (said := told("missing.png,a,painted")) and "missing.png cannot be read" in said
    assert "is the same photograph as row 3" in told("0.png,a,painted", "0.png,b,painted")
    assert "dial a is painted here but printed in row 3" in told("0.png,a,painted", "1.png,a,printed")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--epochs", "3"], "--epochs given with --photos; an adaptation has its own steps and rate, leave it out"),
        (["--resume", "x"], "--resume given with --photos; "),
        (["--name", "best"], "name is 'best'; give"),
        (["--from", "nowhere.safetensors"], "nowhere.safetensors: no such file"),
    ],
)
def test_wrong_arguments_start_nothing(words, said, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert main(["train", "--photos", "labels.csv", *words]) == 1
    assert said in capsys.readouterr().err and not list(tmp_path.iterdir())


def test_figures_of_ratios():
    hand = np.array([True, True, True, False, False])
    found = ratio_figures(hand, np.array([2.0, 0.5, -1.2, -2.0, -0.1]))
    assert (found["right"], found["wrong"], found["undetermined"]) == (2, 1, 2)
    assert found["auc"] == pytest.approx(5 / 6, abs=1e-4)  # pairs in the right order: 2 + 2 + 1 of 6
    assert ratio_figures(hand[:3], np.array([2.0, 0.5, -1.2]))["auc"] is None
    assert ratio_figures(hand, np.zeros(5))["cllr"] == pytest.approx(1.0)  # LR = 1 costs 1 bit


def test_few_dials_are_refused_in_words(labels, make_weights, tmp_path):
    path = labels.parent / "few.csv"
    path.write_text("photo,dial_process\n0.png,painted\n1.png,printed\n")
    with pytest.raises(ParameterError, match="1 painted dials could be read; label at least 5 painted and 5 printed"):
        run(path, load_weights(make_weights()), tmp_path / "none")
