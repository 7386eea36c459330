"""From a finished run to weights: they are the best checkpoint's, they load, and their record says what was done."""

import json
import re

import numpy as np
import pytest
import torch
from inline_supply import InlineSupply
from safetensors.torch import load_file

from dialtell.evaluate.cli.main import main
from dialtell.model.net.calibration import Calibration
from dialtell.model.net.weights_file import load_weights
from dialtell.model.reading.patches import SIDE
from dialtell.synth.scene import RENDERER_VERSION, sample_spec
from dialtell.synth.shared.errors import ParameterError, WeightsError
from dialtell.synth.shared.record import from_record
from dialtell.train.bags import supply as supply_module
from dialtell.train.bags.supply import BEYOND_SEED, CALIBRATION_SEED, FIGURES_SEED
from dialtell.train.run.calibrate import RESOLUTION_BINS, gather_logits
from dialtell.train.run.card import card_text
from dialtell.train.run.config import SCOPE, TrainConfig, preset
from dialtell.train.run.finish import CALIBRATED_ON, checked_name, finish, held_out_figures, held_out_sets
from dialtell.train.run.holdout import CALIBRATION_HELD
from dialtell.train.run.loop import Trainer, evaluate_bags
from dialtell.train.run.origin import begin_with

CONFIG = preset("tiny", device="cpu", pairs=2, calibration=12)
SCOPE_COUNT = 60  # specs, drawn in no time


class Watched(InlineSupply):
    """Notes which held-out sets are asked for."""

    def __init__(self):
        self.seeds = []

    def order_singles(self, seed, count, scope):
        self.seeds.append(seed)
        return super().order_singles(seed, count, scope)


@pytest.fixture(scope="module")
def finished(tmp_path_factory):
    folder, supply = tmp_path_factory.mktemp("runs") / "run", Watched()
    trainer = Trainer(CONFIG, folder)
    trainer.start_folder()
    trainer.run(supply)
    best = load_file(folder / "best.safetensors")
    trainer.save("last")
    supply.seeds.clear()
    path = finish(trainer, supply, name="trial", version="9", command="dialtell train --preset tiny")
    return path, best, supply.seeds


def test_weights_are_the_best_checkpoints_average(finished):
    path, best, _ = finished
    weights = load_weights(path)
    for key, value in weights.net.state_dict().items():
        assert torch.equal(value, best[f"average.{key}"])
    assert (weights.name, weights.version) == ("trial", "9")
    with torch.no_grad():
        output = weights.net(torch.rand(1, 6, SIDE, SIDE), torch.zeros(1, 6, dtype=torch.long), torch.zeros(1))
    assert torch.isfinite(output.dial).all()


def test_calibrated_on_one_set_and_measured_on_another(finished):
    path, _, seeds = finished
    assert seeds == [CALIBRATION_SEED, BEYOND_SEED, FIGURES_SEED]
    figures = load_weights(path).record["figures"]
    for part in ("dial", "zone", "print"):
        assert [row["resolution"] for row in figures[part]] == ["all", *(name for name, *_ in RESOLUTION_BINS)]
        assert figures[part][0]["n"] == sum(row["n"] for row in figures[part][1:])
    assert 6 <= figures["dial"][0]["n"] <= 12
    assert figures["print"][0]["n"] < figures["dial"][0]["n"]
    assert figures["print_called"][0]["n"] <= figures["print"][0]["n"]
    assert load_weights(path).print_calibration is not None


def test_record_says_how_to_make_it_again(finished):
    record = load_weights(finished[0]).record
    assert record["renderer_version"] == RENDERER_VERSION
    assert from_record(TrainConfig, record["training"]["config"]) == CONFIG
    best = record["training"]["epoch"]
    assert 1 <= best <= CONFIG.epochs == record["training"]["epochs"]
    assert record["training"]["steps"] == best * CONFIG.steps
    assert record["training"]["pictures"] == best * 2 * CONFIG.pairs
    assert {"python", "torch", "numpy", "opencv-python-headless"} <= set(record["training"]["versions"])


def test_json_is_strict(finished, strict_json):
    strict_json(finished[0].with_suffix(".json").read_text())


def test_logits_are_kept_without_pickle(finished):
    path, *_ = finished
    with np.load(path.parent / "held_out_logits.npz", allow_pickle=False) as kept:
        assert len(kept["fresh_dial_logit"]) == len(kept["fresh_dial_truth"]) == len(kept["fresh_dial_resolution"])
        assert set(np.unique(kept["fresh_zone_truth"])) <= {0.0, 1.0}
        record = load_weights(path).record["figures"]
        assert record["zone"][0]["n"] == len(kept["fresh_zone_logit"])


def test_card(finished):
    path, *_ = finished
    card, record = (path.parent / "MODEL_CARD.md").read_text(), load_weights(path).record
    assert card.startswith("# trial 9\n") and "Licence: Apache-2.0" in card
    for words in (
        "## Not for",
        "No photograph was used",
        "`dialtell train --preset tiny`",
        f"{record['training']['pictures']} pictures",
        "Transfer against",
    ):
        assert words in card
    assert card_text(record) == card
    row = next(line for line in card.splitlines() if line.startswith("| all | "))
    figures = record["figures"]["dial"][0]
    shown = [float(number) for number in re.findall(r"\d+\.\d+", row)]
    assert f"| {figures['n']} |" in row
    if "auc" in figures:
        assert shown[0] == pytest.approx(figures["auc"], abs=5e-4)


def test_gathered_logits_go_with_their_truth(finished):
    """Dials of both processes, zones by zone: nothing of a mixed dial in the dials, no zone without truth."""
    net = load_weights(finished[0]).net
    supply = InlineSupply()
    bags = [b.result() for b in supply.order_singles(CALIBRATION_SEED, 12, CONFIG.scope) if b.result() is not None]
    bags[0] = type(bags[0])(**{**vars(bags[0]), "dial": -1})
    outputs = evaluate_bags(net, bags, torch.device("cpu"), size=5)
    found = gather_logits(outputs, bags)
    assert len(found["dial_logit"]) == len(bags) - 1
    single = evaluate_bags(net, bags[3:4], torch.device("cpu"))[0]
    assert found["dial_logit"][2] == pytest.approx(single.dial.item(), abs=1e-4)
    assert found["dial_truth"][2] == bags[3].dial
    counted = sum(int(((bag.hand >= 0) & np.isin(np.arange(5), bag.zone)).sum()) for bag in bags)
    assert len(found["zone_logit"]) == counted and (found["zone_truth"] >= 0).all()
    prints = [bag for bag in bags if bag.dial == 0]
    assert found["print_truth"].tolist() == [bag.photographic for bag in prints]
    assert found["print_resolution"].tolist() == [bag.resolution for bag in prints]


def test_without_a_best_checkpoint(tmp_path):
    trainer = Trainer(CONFIG, tmp_path / "run")
    trainer.start_folder()
    with pytest.raises(WeightsError, match=r"best\.safetensors: no such file, .*; train with a lower rate"):
        finish(trainer, InlineSupply(), name="x", version="0", command="")


@pytest.mark.parametrize("name", ["last", "best", "config", "../up", "a/b", "", ".hidden", "a b"])
def test_names_that_would_overwrite_or_escape(name):
    with pytest.raises(ParameterError, match=r"name is .*; give letters"):
        checked_name(name)


def test_names_that_may_be():
    assert checked_name("strokes-2.b") == "strokes-2.b"


class Lent(InlineSupply):
    """In place of the command's worker processes."""

    def __init__(self, workers):
        self.workers = workers

    def __enter__(self):
        return self

    def __exit__(self, *_):
        pass


def test_the_whole_line_from_the_command(tmp_path, capsys, strict_json, monkeypatch):
    """The documented small run: one JSON document, weights that load, and the figures they carry."""
    monkeypatch.setattr(supply_module, "Supply", Lent)
    out = tmp_path / "run"
    words = ["train", "--preset", "tiny", "--epochs", "1", "--pairs", "2", "--device", "cpu", "--out", str(out)]
    assert main([*words, "--json", "--quiet"]) == 0
    document = strict_json(capsys.readouterr().out)
    assert document["schema"] == "dialtell.train/1" and document["weights"] == str(out / "strokes.safetensors")
    assert load_weights(out / "strokes.safetensors").record["figures"] == document["figures"]
    assert json.loads((out / "config.json").read_text())["config"]["epochs"] == 1
    assert main(["train", "--resume", str(out), "--epochs", "2", "--name", "again"]) == 0
    told = capsys.readouterr()
    lines = told.out.splitlines()
    assert lines[:2] == [f"weights: {out / 'again.safetensors'}", f"card:    {out / 'MODEL_CARD.md'}"]
    assert lines[-1] == f"use them: dialtell score PHOTO --weights {out / 'again.safetensors'}" and len(lines) == 4
    row = load_weights(out / "again.safetensors").record["figures"]["dial"][0]
    said = row["note"] if "auc" not in row else f"AUC {row['auc']:.3f} ("
    assert lines[2].startswith(f"on {row['n']} fresh drawn dials: {said}")
    assert (out / "MODEL_CARD.md").read_text().startswith("# again ")
    trained = load_weights(out / "again.safetensors").record["training"]
    assert trained["epochs"] == 2 and trained["steps"] == 2 * trained["epoch"]


def test_figures_of_prints_count_those_called_printed_apart():
    """40 prints of which 30 are called printed; the logit tells all photographic ones."""
    truth = np.tile([0.0, 1.0], 20)
    fresh = {f"{part}_{name}": np.zeros(4) for part in ("dial", "zone") for name in ("logit", "truth", "resolution")}
    fresh |= {"print_logit": 8 * truth - 4, "print_truth": truth, "print_resolution": np.zeros(40)}
    fresh["print_dial_logit"] = np.where(np.arange(40) < 30, -5.0, 0.0)
    found = held_out_figures(fresh, dict.fromkeys(("dial", "zone", "print"), Calibration()))
    (called,) = found["print_called"]
    assert found["print"][0]["n"] == 40 and called["n"] == 30 and called["resolution"] == "called printed"
    assert called["right"] == called["decided"] == 30 and called["auc"] == 1.0


def test_a_run_begun_with_weights(finished, tmp_path, monkeypatch, capsys):
    """It takes their net and says so everywhere; cut off before its first epoch, it goes on from them all the same."""
    monkeypatch.setattr(supply_module, "Supply", Lent)
    source, out = load_weights(finished[0]), tmp_path / "run"
    words = ["train", "--preset", "tiny", "--epochs", "1", "--pairs", "2", "--device", "cpu", "--out", str(out)]
    words += ["--from", str(finished[0].parent), "--quiet"]
    with monkeypatch.context() as patch:
        patch.setattr(Trainer, "run", lambda *_, **__: (_ for _ in ()).throw(KeyboardInterrupt))
        assert main(words) == 130
    kept = load_file(out / "last.safetensors")
    assert all(torch.equal(kept[f"net.{key}"], value) for key, value in source.net.state_dict().items())
    assert main(["train", "--resume", str(out), "--quiet"]) == 0
    straight = tmp_path / "straight"
    assert main([str(straight) if word == str(out) else word for word in words]) == 0
    assert (out / "strokes.safetensors").read_bytes() == (straight / "strokes.safetensors").read_bytes()
    record = load_weights(out / "strokes.safetensors").record
    origin = record["training"]["config"]["origin"]
    assert origin == {**source.identity, "renderer_version": RENDERER_VERSION}
    assert json.loads((out / "config.json").read_text())["config"]["origin"] == origin
    assert "Begun with" not in capsys.readouterr().out  # the card says it
    assert f"Begun with the weights trial 9 (sha256 {source.sha256[:12]}" in (out / "MODEL_CARD.md").read_text("utf-8")


def test_begun_with_weights_it_goes_gently(finished):
    weights = load_weights(finished[0])
    config = begin_with(preset("desk"), weights)
    assert config.net == weights.net.config and config.rate < preset("desk").rate
    assert config.start is None and config.start_share == config.easy == 0.0


def test_all_that_calibrates_is_of_families_training_has_none_of_and_the_figures_are_not():
    *families, fresh = held_out_sets(SCOPE_COUNT, SCOPE)
    assert fresh[1:] == (SCOPE_COUNT, SCOPE) and all(count == SCOPE_COUNT for _, count, _ in families)
    taught = [sample_spec(1, index, SCOPE) for index in range(SCOPE_COUNT)]
    usual = [wobbles(spec) for spec in taught]
    assert not any(on_film(spec.camera) for spec in taught)
    for (seed, count, scope), steadier in zip(families, (True, False), strict=True):
        assert (scope.wear, scope.part, scope.mixed) == (SCOPE.wear, SCOPE.part, SCOPE.mixed)
        specs = [sample_spec(seed, index, scope) for index in range(count)]
        assert (np.mean([wobbles(spec) for spec in specs]) < np.mean(usual)) == steadier
        # hands: outside what training draws, short of what rung B does
        low, high = (scope.jitter * np.exp(sign * scope.jitter_spread) for sign in (-1, 1))
        assert (0.6 < low and high < np.exp(-SCOPE.jitter_spread)) if steadier else low > np.exp(SCOPE.jitter_spread)
        assert high < 1.3
        assert 0.1 < np.mean([on_film(spec.camera) for spec in specs]) < 0.6
        for design in (spec.design for spec in specs):
            forms = {line.letterform for line in design.signature if line.letterform not in ("italic-lower",)}
            forms |= {design.chapter.letterform} if design.chapter and "teardrop" not in design.uncommon else set()
            assert {form.split(":")[1] for form in forms if form.startswith("font:")} <= set(CALIBRATION_HELD.families)
            assert all(form.startswith("font:") for form in forms - {"arabic-teardrop"})


def wobbles(spec):
    """How unsteadily a figure is painted, whatever the painter."""
    return np.log(spec.making.workshop.figures.wobble)


def on_film(camera):
    """Whether a finished picture has film's grain, halation and flat tones together."""
    film = camera.chain is not None and camera.chain.tails.share >= 0.12
    return film and camera.mottle >= 0.01 and camera.contrast <= 0.1


def test_the_record_says_what_calibrated_and_few_dials_give_no_gate(finished):
    weights = load_weights(finished[0])
    assert weights.record["calibrated_on"] == CALIBRATED_ON and weights.familiar is None
    card = (finished[0].parent / "MODEL_CARD.md").read_text()
    assert f"Calibrated on {CALIBRATED_ON}." in card and "No call is made of a dial" not in card
    noted = {"passed": 0.995, "dials": 1960, "fresh": {"dials": 980, "passed": 977}}
    card = card_text({**weights.record, "familiar": noted})
    assert "99.5 % of 1960 such dials" in card and "Of 980 fresh drawn dials 3 would be withheld so." in card
