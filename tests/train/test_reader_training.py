"""The training of the reader: it runs, goes on, refuses, and what it is punished for means what it says."""

from __future__ import annotations

import csv
import json
import math
from dataclasses import replace

import numpy as np
import pytest
import torch

from dialtell.model.reader.file import BESIDE, Certainty, load_reader, outline_terms
from dialtell.model.reader.net import SIDE, TURNS, ReaderConfig, ReaderNet
from dialtell.synth.settings.setting import Look
from dialtell.synth.shared.errors import OutputError, ParameterError
from dialtell.synth.shared.record import to_record
from dialtell.synth.shared.terms import MAKES, SEEN, Make
from dialtell.train.reader.config import ReaderTraining, preset
from dialtell.train.reader.disturbance import disturbed, turned
from dialtell.train.reader.finish import CARD, Told, figures_of, finish_reader, fit_certainty, photograph_of
from dialtell.train.reader.judging import FIGURES, judged
from dialtell.train.reader.loop import COLUMNS, ReaderTrainer
from dialtell.train.reader.loss import WEIGHTS, losses, places, total, turn_target
from dialtell.train.reader.pictures import LOOKS, TRUTH, pictures_of

CPU = torch.device("cpu")


@pytest.fixture(scope="module")
def pictures():
    """Eight pictures with a dial seen square among others."""
    found = pictures_of(11, 3, 8)
    assert (found.truth[:, 9] == LOOKS.index(Look.SQUARE)).any()
    return found


def tensors(pictures):
    picture = torch.from_numpy(pictures.picture).permute(0, 3, 1, 2).float()
    return picture, torch.from_numpy(pictures.seen).long(), torch.from_numpy(pictures.truth)


def test_pictures_depend_on_seed_and_index_alone(pictures):
    again, other = pictures_of(11, 3, 8), pictures_of(11, 4, 8)
    assert all(np.array_equal(one, two) for one, two in zip(pictures, again, strict=True))
    assert not np.array_equal(pictures.picture, other.picture)
    assert pictures.picture.shape == (8, SIDE, SIDE, 3) and pictures.truth.shape == (8, len(TRUTH))
    assert pictures.seen.max() < len(SEEN) and set(WEIGHTS) == set(SEEN)


def test_places_agree_with_what_is_seen(pictures):
    """Names of the dial stand where the truth says the dial is."""
    inside = (places(torch.from_numpy(pictures.truth)).norm(dim=1) < 1.02).numpy()
    for k in range(8):
        if pictures.truth[k, 0]:
            dial = (pictures.seen[k, ::2, ::2] > 0) & (pictures.seen[k, ::2, ::2] < len(SEEN) - 1)
            assert dial.sum() > 0 and (inside[k][dial]).mean() > 0.995


@pytest.mark.parametrize("quarters", [0, 1, 2, 3])
def test_turned_pictures_keep_their_truth(pictures, quarters):
    picture, seen, truth = tensors(pictures)
    picture2, seen2, truth2 = turned(picture, seen, truth, quarters)
    assert torch.equal(picture2, torch.rot90(picture, -quarters, (2, 3)))
    dial = truth[:, 0] > 0
    mask, mask2 = (places(t).norm(dim=1) < 1 for t in (truth, truth2))
    assert (torch.rot90(mask, -quarters, (1, 2)) == mask2)[dial].float().mean() > 0.9999
    # the place of a pixel on the dial's circle turns with the picture
    where, where2 = places(truth)[dial], places(truth2)[dial]
    c, s = math.cos(quarters * math.pi / 2), math.sin(quarters * math.pi / 2)
    moved = torch.rot90(where, -quarters, (2, 3))
    expected = torch.stack([c * moved[:, 0] - s * moved[:, 1], s * moved[:, 0] + c * moved[:, 1]], 1)
    assert torch.allclose(where2, expected, atol=1e-3)
    off = truth2[:, 7] - truth[:, 7] - quarters * math.pi / 2
    assert torch.allclose(torch.sin(off[dial]), torch.zeros(int(dial.sum())), atol=1e-5)
    assert torch.equal(truth2[~dial], truth[~dial]) and torch.equal(truth2[:, 8:], truth[:, 8:])
    assert torch.equal(seen2.bincount() if seen2.ndim == 1 else seen2.flatten().bincount(), seen.flatten().bincount())


def test_disturbed_pictures_stay_pictures(pictures):
    torch.manual_seed(0)
    picture, _, _ = tensors(pictures)
    picture[:, :, :20] = 127.0  # outside the photograph
    other = disturbed(picture)
    assert other.shape == picture.shape and 0 <= other.min() and other.max() <= 255
    assert (other[:, :, :20] == 127.0).all() and (other - picture).abs().mean() > 1.0


def test_the_target_of_the_turn():
    share = turn_target(torch.tensor([0.0, math.pi / 2, -math.pi / 2, 3 * math.pi]))
    assert share.shape == (4, TURNS) and torch.allclose(share.sum(1), torch.ones(4))
    assert share.argmax(1).tolist() == [0, 90, 270, 180] and float(share[0, 356:].sum() + share[0, :5].sum()) > 0.99


def test_the_truth_itself_costs_little_and_its_opposite_much(pictures):
    from dialtell.model.reader.net import Sight

    _, seen, truth = tensors(pictures)
    place = places(truth)
    dial = truth[:, 0, None, None]

    def sight(sign):
        names = sign * 20.0 * torch.nn.functional.one_hot(seen, len(SEEN)).permute(0, 3, 1, 2).float()
        inside = sign * 20.0 * (2.0 * ((place.norm(dim=1) < 1) & (dial > 0)).float() - 1.0)
        make = sign * 20.0 * torch.nn.functional.one_hot(truth[:, 8].long(), len(MAKES)).float()
        turn = sign * turn_target(truth[:, 7]).clamp(min=1e-12).log().clamp(min=-30)
        return Sight(names, inside, place if sign > 0 else -place, make, turn)

    right, wrong = losses(sight(1), seen, truth), losses(sight(-1), seen, truth)
    for name in right:
        assert float(right[name]) < (1.7 if name == "turn" else 0.05) and float(wrong[name]) > 5 * float(right[name]), (
            name
        )
    assert float(total(right)) < float(total(wrong))


def test_losses_fall_on_a_batch_that_is_repeated(pictures):
    torch.manual_seed(0)
    net = ReaderNet(ReaderConfig((8, 8, 12, 16, 16), 8)).train()
    picture, seen, truth = (one[:4] for one in tensors(pictures))
    optimizer = torch.optim.AdamW(net.parameters(), lr=4e-3)
    costs = []
    for _ in range(14):
        cost = total(losses(net(picture, True), seen, truth))
        optimizer.zero_grad()
        cost.backward()
        optimizer.step()
        costs.append(float(cost.detach()))
    assert np.isfinite(costs).all() and np.mean(costs[-3:]) < 0.75 * costs[0], costs


def test_figures_of_a_net_that_knows(pictures):
    """A stand-in that answers with the truth has every figure at 1."""
    from dialtell.model.reader.net import Sight

    class Knowing(torch.nn.Module):
        def forward(self, picture, turn=False):
            _, seen, truth = tensors(pictures)
            names = torch.nn.functional.one_hot(seen, len(SEEN)).permute(0, 3, 1, 2).float()
            make = torch.nn.functional.one_hot(truth[:, 8].long(), len(MAKES)).float()
            return Sight(names, 1 - places(truth).norm(dim=1), places(truth), make, turn_target(truth[:, 7]))

    assert judged(Knowing(), [pictures], CPU) == dict.fromkeys(FIGURES, 1.0)


# --- runs ---


@pytest.fixture(scope="module")
def run(tmp_path_factory):
    trainer = ReaderTrainer(preset("tiny", device="cpu"), tmp_path_factory.mktemp("reader"))
    trainer.start_folder()
    trainer.run()
    return trainer


def rows(folder):
    with (folder / "metrics.csv").open(newline="") as file:
        return list(csv.DictReader(file))


def test_a_tiny_run_leaves_its_files(run):
    found = rows(run.folder)
    assert tuple(found[0]) == COLUMNS and [row["epoch"] for row in found] == ["1", "2"] and run.step == 4
    assert all(math.isfinite(float(row[name])) for row in found for name in ("seen", "inside", "where", "make"))
    assert {"config.json", "last.safetensors", "moments.safetensors"} <= {path.name for path in run.folder.iterdir()}


def test_a_run_goes_on(run):
    resumed = ReaderTrainer.resume(run.folder, epochs=3, device="cpu")
    assert (resumed.epoch, resumed.step, resumed.index) == (2, 4, run.index)
    for one, other in zip(resumed.average.state_dict().values(), run.average.state_dict().values(), strict=True):
        assert torch.equal(one, other)
    moments = resumed.optimizer.state_dict()["state"]
    assert all(torch.equal(moments[k][name], value) for k, state in run.optimizer.state_dict()["state"].items()
               for name, value in state.items())  # fmt: skip
    assert resumed.rows == run.rows and resumed.config.epochs == 3


def test_folders_that_are_refused(run, tmp_path):
    with pytest.raises(OutputError, match="holds a run already"):
        ReaderTrainer(run.config, run.folder).start_folder()
    for about in (None, {"config": to_record(run.config)}, {"net": "reader"}, {"net": "strokes", "config": {}}):
        if about is not None:
            (tmp_path / "config.json").write_text(json.dumps(about))
        with pytest.raises(ParameterError, match="no run of the reader"):
            ReaderTrainer.resume(tmp_path)
    (tmp_path / "config.json").write_text((run.folder / "config.json").read_text())
    (tmp_path / "last.safetensors").write_bytes(b"none")
    with pytest.raises(ParameterError, match="damaged"):
        ReaderTrainer.resume(tmp_path, device="cpu")


def test_a_finished_run_is_a_reader(run, monkeypatch):
    from dialtell.train.reader import finish

    monkeypatch.setattr(finish, "in_order", lambda function, jobs, workers, start: map(function, jobs))
    path = finish_reader(run, name="reader", version="0", command="dialtell train")
    reader = load_reader(path)
    assert path.name == BESIDE and reader.record["training"]["steps"] == 4
    assert reader.record["figures"]["dials found"]["of"] <= run.config.figures
    card = (run.folder / CARD).read_text()
    assert "No photograph was used" in card and "| dials found |" in card


@pytest.mark.parametrize("change", [{"epochs": 0}, {"rate": 0.0}, {"average": 1.0}, {"seed": -1}, {"workers": 2000}])
def test_values_out_of_range(change):
    with pytest.raises(ParameterError, match=next(iter(change))):
        replace(ReaderTraining(), **change)
    with pytest.raises(ParameterError, match="preset is 'huge'"):
        preset("huge")


# --- how sure an answer is ---


def seen_of(agreement, ragged=0.01):
    """The terms of an outline that lies whole in the frame and along a crisp edge."""
    return outline_terms(agreement, 0.002, 1.0, 0.95, 1.0, ragged)


def told(agreement, right, share=0.99, straight=True, ragged=0.01):
    return Told(True, True, shown=1.0, off=0.005 if right else 0.1, terms=seen_of(agreement, ragged),
                turned=0.01 if straight else 1.0, share=share, enamel=0.9, make=Make.ENAMEL)  # fmt: skip


def sure(certainty, *seen):
    logit = np.dot(certainty.outline, seen_of(*seen))
    return 1 / (1 + math.exp(-logit))


def test_certainty_is_fitted_to_what_can_be_seen():
    rng = np.random.default_rng(0)
    some = []
    for _ in range(400):
        agreement = float(np.exp(rng.uniform(np.log(0.002), np.log(0.2))))
        share = float(rng.uniform(0.05, 0.99))
        some.append(told(agreement, rng.random() < 1 / (1 + agreement / 0.03), share, rng.random() < share))
    certainty = fit_certainty(some)
    assert sure(certainty, 0.003) > 0.8 and sure(certainty, 0.15) < 0.35
    assert sure(certainty, 0.03) == pytest.approx(0.5, abs=0.12)
    assert sure(certainty, 0.01, 0.2) < sure(certainty, 0.01, 0.01)  # what no ellipse fits, though none was seen
    constant, weight = certainty.twelve
    assert abs(constant) < 0.7 and weight == pytest.approx(1.0, abs=0.4)


def test_few_photographs_promise_little():
    none = fit_certainty([])
    assert none == Certainty()
    assert fit_certainty([told(0.01, True)]).outline == pytest.approx(Certainty().outline, abs=0.3)


def test_figures_count_what_they_say():
    some = [
        told(0.01, True), told(0.01, False), Told(True, False, shown=0.7, make=Make.ENAMEL), Told(False, False),
        Told(False, True, 0.0, 1.0, seen_of(0.1)), Told(True, False, shown=0.3, make=Make.ENAMEL),
    ]  # fmt: skip
    found = figures_of(some)
    assert (found["dials found"]["count"], found["dials found"]["of"]) == (2, 3)
    assert found["outline within 2 % of the radius, of found"]["count"] == 1
    assert found["enamel taken for another make (0.8 or surer)"]["of"] == 2
    assert found["pictures without a dial, none found"] == {
        **found["pictures without a dial, none found"],
        "count": 1,
        "of": 2,
    }


def test_photographs_for_figures_are_the_same_again():
    first, second = photograph_of(5, 2, 300), photograph_of(5, 2, 300)
    assert np.array_equal(first.picture, second.picture) and max(first.seen.shape) == 300
