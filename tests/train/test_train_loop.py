"""The loop: the same weights whatever way a run gets to its end, and nothing lost when it is cut off."""

import csv
import math
import os
import signal
import subprocess
import sys
import time
from concurrent.futures import Future
from dataclasses import replace

import numpy as np
import pytest
import torch
from inline_supply import InlineSupply
from safetensors import safe_open
from safetensors.torch import load_file

from dialtell.evaluate.cli.main import main
from dialtell.model.net.output import NetOutput
from dialtell.synth.shared.errors import OutputError, ParameterError
from dialtell.train.bags.bags import Bag
from dialtell.train.bags.supply import Supply
from dialtell.train.run import loop
from dialtell.train.run.config import preset
from dialtell.train.run.loop import COLUMNS, Trainer, _within_loss, losses
from dialtell.train.run.store import Batch

CONFIG = preset("tiny", epochs=4, pairs=2, device="cpu", window=3)
SUPPLY = InlineSupply()


def begun(folder, config=CONFIG):
    trainer = Trainer(config, folder)
    trainer.start_folder()
    return trainer


def rows(folder):
    with (folder / "metrics.csv").open(newline="") as file:
        return list(csv.DictReader(file))


def learnt(row):
    """What of a row must be equal from run to run: all but the times."""
    return {name: value for name, value in row.items() if "seconds" not in name}


def assert_same_run(one, other):
    a, b = (load_file(folder / "last.safetensors") for folder in (one, other))
    assert a.keys() == b.keys() and all(torch.equal(a[key], b[key]) for key in a)
    assert [learnt(row) for row in rows(one)] == [learnt(row) for row in rows(other)]


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    """Folder of a run of four epochs."""
    folder = tmp_path_factory.mktemp("runs") / "whole"
    begun(folder).run(SUPPLY)
    return folder


def test_a_run_leaves_its_files(whole):
    assert sorted(path.name for path in whole.iterdir()) == [
        "best.safetensors",
        "config.json",
        "last.safetensors",
        "metrics.csv",
    ]
    table = rows(whole)
    assert tuple(table[0]) == COLUMNS
    assert [(row["epoch"], row["step"]) for row in table] == [("1", "2"), ("2", "4"), ("3", "6"), ("4", "8")]
    assert [row["dials"] for row in table] == ["2", "4", "6", "6"]  # pairs within the window
    assert all(math.isfinite(float(row[name])) for row in table for name in ("loss", "validation_loss", "rate"))


def test_same_seed_same_run(whole, tmp_path):
    begun(tmp_path / "again").run(SUPPLY)
    assert_same_run(whole, tmp_path / "again")


def test_another_seed_another_run(whole, tmp_path):
    begun(tmp_path / "other", replace(CONFIG, seed=2)).run(SUPPLY, until=1)
    assert learnt(rows(tmp_path / "other")[0])["loss"] != learnt(rows(whole)[0])["loss"]


@pytest.mark.parametrize(
    ("validation", "kept"),
    [
        ((1.0, 0.9, 0.91, 0.92), 3),
        ((1.0, 0.9, 0.95, 0.917), 4),
        ((1.0, 0.9, 0.95, 0.94), 2),
        ((1.0, 1.019, 1.03, 1.05), 2),
    ],
)
def test_of_epochs_as_good_the_later_is_kept(tmp_path, monkeypatch, validation, kept):
    """As good: within 2 % of the least loss so far, however often that was kept since."""
    left = iter(validation)
    monkeypatch.setattr(Trainer, "validate", lambda self, held_out: (next(left), 0.5))
    begun(tmp_path / "run").run(SUPPLY)
    with safe_open(tmp_path / "run" / "best.safetensors", framework="pt") as file:
        counters = file.metadata()
    assert int(counters["epoch"]) == kept and float(counters["best"]) == min(validation[:kept])


@pytest.mark.parametrize("stop", [2, 3])
def test_resumed_is_uninterrupted(whole, tmp_path, stop):
    """Two and two epochs are four, bit for bit; so are three and one."""
    folder = tmp_path / "run"
    begun(folder).run(SUPPLY, until=stop)
    assert len(rows(folder)) == stop
    trainer = Trainer.resume(folder)
    assert (trainer.epoch, trainer.step) == (stop, 2 * stop)
    trainer.run(SUPPLY)
    assert_same_run(whole, folder)


@pytest.mark.parametrize("lost", ["best", "last"])
def test_cut_off_before_the_checkpoint(whole, tmp_path, monkeypatch, lost):
    """The third epoch is noted, then the process ends before (or between) its checkpoints."""
    folder, save = tmp_path / "run", Trainer.save

    def cut(self, name):
        if self.epoch == 3 and name in ("last", lost):
            raise KeyboardInterrupt
        save(self, name)

    monkeypatch.setattr(Trainer, "save", cut)
    with pytest.raises(KeyboardInterrupt):
        begun(folder).run(SUPPLY)
    monkeypatch.undo()
    assert len(rows(folder)) == 3
    trainer = Trainer.resume(folder)
    assert trainer.epoch == 2 and len(rows(folder)) == 2  # the row of the lost epoch does not stay
    trainer.run(SUPPLY)
    assert_same_run(whole, folder)


def test_cut_off_while_a_checkpoint_is_written(tmp_path, monkeypatch):
    folder = tmp_path / "run"
    trainer = begun(folder)
    trainer.run(SUPPLY, until=1)
    before = (folder / "last.safetensors").read_bytes()

    def cut(path, mode):
        if path.parent == folder:
            raise KeyboardInterrupt
        change(path, mode)

    change = os.chmod
    monkeypatch.setattr(os, "chmod", cut)  # the draft is written by then
    with pytest.raises(KeyboardInterrupt):
        trainer.run(SUPPLY, until=2)
    assert (folder / "last.safetensors").read_bytes() == before
    assert not list(folder.glob(".*"))


def test_cut_off_before_the_first_checkpoint(whole, tmp_path):
    begun(tmp_path / "run")
    trainer = Trainer.resume(tmp_path / "run")
    assert trainer.epoch == 0
    trainer.run(SUPPLY)
    assert_same_run(whole, tmp_path / "run")


def test_a_finished_run_draws_no_pictures_again(whole):
    Trainer.resume(whole).run(None)
    assert len(rows(whole)) == 4


def test_folders_that_are_refused(whole, tmp_path):
    with pytest.raises(OutputError, match=r"holds a run already; give --resume .*whole or another --out"):
        Trainer(CONFIG, whole).start_folder()
    with pytest.raises(ParameterError, match=r"--resume .*nowhere: no run there; give the folder a run wrote"):
        Trainer.resume(tmp_path / "nowhere")


def test_a_run_of_another_renderer_is_not_gone_on_with(tmp_path, monkeypatch):
    begun(tmp_path / "run")
    monkeypatch.setattr(loop, "RENDERER_VERSION", "999")
    with pytest.raises(ParameterError, match=r"begun with renderer .*, this is 999; start a new run"):
        Trainer.resume(tmp_path / "run")


def test_resumed_for_more_epochs(whole, tmp_path):
    folder = tmp_path / "run"
    begun(folder).run(SUPPLY, until=1)
    assert Trainer.resume(folder, epochs=9).config.epochs == 9
    with pytest.raises(ParameterError, match="epochs is 0"):
        Trainer.resume(folder, epochs=0)


def test_rate_rises_then_falls(tmp_path):
    trainer = Trainer(replace(CONFIG, epochs=10, steps=20, warmup=0.1, rate=1e-2), tmp_path)
    rates = [trainer.rate_at(step) for step in range(201)]
    assert int(np.argmax(rates)) == 19 and max(rates) == pytest.approx(1e-2)
    assert np.all(np.diff(rates[:20]) > 0) and np.all(np.diff(rates[20:]) < 0)
    assert rates[-1] == pytest.approx(2e-4)


def outputs(dial, zone, patch, present):
    return NetOutput(dial, zone, patch, torch.zeros(len(dial)), present)


def test_unknown_truth_costs_nothing():
    """A mixed dial, a zone without strokes and patches of it teach nothing; what is known does."""
    batch = Batch(
        patches=torch.empty(0),
        zone=torch.tensor([[0, 1, -1]]),
        resolution=torch.zeros(1),
        hand=torch.tensor([[-1.0, 1.0, -1.0, -1.0, -1.0]]),
        dial=torch.tensor([-1.0]),
        photographic=torch.tensor([-1.0]),
        twin=torch.tensor([0]),
    )
    logits = [torch.zeros(shape, requires_grad=True) for shape in ((1,), (1, 5), (1, 3))]
    losses(outputs(*logits, torch.tensor([[True, True, False, False, False]])), batch).backward()
    dial, zone, patch = (logit.grad for logit in logits)
    assert dial.item() == 0
    assert (zone != 0).tolist() == [[False, True, False, False, False]]
    assert (patch != 0).tolist() == [[False, True, False]]
    assert zone[0, 1] == pytest.approx(-0.5) and patch[0, 1] == pytest.approx(-0.25)  # slope of log loss at 0; half


def pair(twin, dial=(1.0, 0.0)):
    """A painted dial and a printed one, one patch each, set down as twins or not."""
    hand = torch.tensor(dial)[:, None].expand(2, 5)
    return Batch(
        torch.empty(0), torch.tensor([[0], [0]]), torch.zeros(2), hand, torch.tensor(dial), torch.tensor([-1.0, 1.0]),
        torch.tensor(twin),
    )  # fmt: skip


def scored(painted, printed):
    score = torch.tensor([painted, printed])
    return outputs(score, score[:, None].expand(2, 5), score[:, None], torch.ones(2, 5, dtype=torch.bool))


def test_loss_at_even_odds():
    """ln 2 for each of zone, dial, patch (half) and process of print (a fifth)."""
    assert losses(scored(0.0, 0.0), pair([0, 1])).item() == pytest.approx((1 + 1 + 0.5 + 0.2) * math.log(2), rel=1e-6)


def test_each_voice_is_asked_by_itself():
    """Two voices that are both wrong, each the other way, are not excused by their mean; two that agree cost one's."""
    batch = pair([1, 0])
    one, other = scored(3.0, -3.0), scored(-3.0, 3.0)
    both = replace(scored(0.0, 0.0), voices=(one, other))
    apart = float(losses(one, batch) + losses(other, batch)) / 2
    assert float(losses(both, batch)) == pytest.approx(apart, rel=1e-6)
    assert float(losses(replace(one, voices=(one, one)), batch)) == pytest.approx(float(losses(one, batch)), rel=1e-6)


def test_twins_are_told_from_each_other():
    """What twins add to the loss falls as the painted one is put above the printed, wherever both lie."""

    def added(painted, printed, dial=(1.0, 0.0)):
        output = scored(painted, printed)
        return float(losses(output, pair([1, 0], dial)) - losses(output, pair([0, 1], dial)))

    assert added(0.0, 2.0) > added(0.0, 0.0) > added(2.0, 0.0) > 0
    assert added(5.0, 4.0) == pytest.approx(added(1.0, 0.0), abs=1e-5)
    assert added(1.0, 0.0, (-1.0, -1.0)) == added(1.0, 0.0, (1.0, 1.0)) == 0


def test_twins_that_look_alike_are_asked_for_even_odds():
    """With one half for the truth the loss is least at 0, and the order of the twins costs nothing."""

    def loss(painted, printed, twin):
        return float(losses(scored(painted, printed), pair(twin, (0.5, 0.5))))

    assert loss(0.0, 0.0, [1, 0]) < min(loss(0.5, 0.0, [1, 0]), loss(-0.5, 0.0, [1, 0]), loss(0.5, -0.5, [1, 0]))
    assert loss(0.7, 0.2, [0, 1]) == pytest.approx(loss(0.7, 0.2, [1, 0]))


def test_no_readable_picture_says_so(tmp_path):
    class Blank(InlineSupply):
        def order_twins(self, seed, first, count, scope):
            futures = [Future() for _ in range(count)]
            for future in futures:
                future.set_result([])
            return futures

    with pytest.raises(ParameterError, match="no picture drawn could be read; give"):
        begun(tmp_path / "run").run(Blank())


def test_number_of_workers_does_not_matter():
    """Whichever of two processes renders, and in whatever order: the bags of this one process, byte for byte."""
    expected = [order.result() for order in SUPPLY.order_twins(CONFIG.seed, 0, 4, CONFIG.scope)]
    with Supply(2) as supply:
        assert supply.workers == 2
        found = [order.result() for order in supply.order_twins(CONFIG.seed, 0, 4, CONFIG.scope)]
    for one, other in zip(expected, found, strict=True):
        assert len(one) == len(other)
        for a, b in zip(one, other, strict=True):
            assert all(np.array_equal(getattr(a, name), getattr(b, name)) for name in Bag.__dataclass_fields__)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--batch", "3"], "batch is 3; give an even number"),
        (["--epochs", "0"], "epochs is 0; give"),
        (["--name", "last"], "name is 'last'; give"),
        (["--name", "../strokes"], "name is '../strokes'; give"),
        (["--resume", "x", "--seed", "4"], "--seed given with --resume; "),
        (["--resume", "x"], "--resume x: no run there"),
    ],
)
def test_wrong_arguments_start_nothing(words, said, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert main(["train", "--preset", "tiny", *words] if "--resume" not in words else ["train", *words]) == 1
    told = capsys.readouterr()
    assert told.out == "" and said in told.err and told.err.count("\n") == 1
    assert not list(tmp_path.iterdir())


@pytest.mark.slow
def test_killed_process_is_gone_on_with(tmp_path):
    """kill -9 between the first epoch and the last, then --resume, against a run left alone."""
    code = "import sys; from dialtell.evaluate.cli.main import main; sys.exit(main(sys.argv[1:]))"
    words = [sys.executable, "-c", code, "train"]
    begin = ["--preset", "tiny", "--epochs", "6", "--device", "cpu", "--workers", "1", "--quiet"]
    process = subprocess.Popen([*words, *begin, "--out", str(tmp_path / "cut")], start_new_session=True)
    ends = time.monotonic() + 120
    while not (tmp_path / "cut" / "last.safetensors").exists() and time.monotonic() < ends:
        time.sleep(0.02)
    os.killpg(process.pid, signal.SIGKILL)
    process.wait()
    assert 1 <= len(rows(tmp_path / "cut")) < 6
    subprocess.run([*words, "--resume", str(tmp_path / "cut"), "--quiet"], check=True, stdout=subprocess.DEVNULL)
    subprocess.run([*words, *begin, "--out", str(tmp_path / "left")], check=True, stdout=subprocess.DEVNULL)
    assert_same_run(tmp_path / "left", tmp_path / "cut")
    assert (tmp_path / "left/strokes.safetensors").read_bytes() == (tmp_path / "cut/strokes.safetensors").read_bytes()


def patches_of(*rows):
    """Logits and truths of dials as a batch of patches; -1 unknown."""
    logit, truth = (torch.tensor(part, dtype=torch.float32) for part in zip(*rows, strict=True))
    return logit, truth, torch.ones_like(truth, dtype=torch.bool)


def test_what_is_asked_within_a_dial():
    """At even odds ln 2 for the order and ln 2 for the kinds; dials of one kind ask nothing; few weigh as many."""
    even = _within_loss(*patches_of(([0.0, 0.0, 0.0, 0.0], [1, 0, 0, -1])))
    assert float(even) == pytest.approx(2 * math.log(2), abs=1e-6)
    assert float(_within_loss(*patches_of(([3.0, -2.0, 1.0, 0.0], [1, 1, 1, -1])))) == 0.0
    right = _within_loss(*patches_of(([4.0, -4.0, -4.0, 0.0], [1, 0, 0, -1])))
    wrong = _within_loss(*patches_of(([-4.0, 4.0, 4.0, 0.0], [1, 0, 0, -1])))
    assert float(right) < 0.05 < 7.0 < float(wrong)
    few = _within_loss(*patches_of(([-4.0, -4.0, -4.0, -4.0], [1, 0, 0, 0])))
    many = _within_loss(*patches_of(([-4.0, -4.0, -4.0, -4.0], [1, 1, 1, 0])))
    assert float(few) == pytest.approx(float(many), abs=1e-5)


def test_patches_that_do_not_exist_ask_nothing():
    logit, truth, real = patches_of(([0.0, 0.0, 9.0], [1, 0, 0]))
    real[0, 2] = False
    assert float(_within_loss(logit, truth, real)) == pytest.approx(2 * math.log(2), abs=1e-6)


def test_what_two_cameras_say_of_one_dial_is_drawn_together():
    """Logits of the dial and of zones that both show; a dial by one camera alone is asked nothing, nor one that the
    other camera resolves far better."""
    batch = replace(pair([0, 1], dial=(-1.0, -1.0)), again=torch.tensor([1, 0]))
    present = torch.tensor([[True, True, False, False, False], [True, False, False, False, False]])
    logits = [torch.tensor([0.4, 0.0]), torch.zeros(2, 5), torch.zeros(2, 1)]
    logits[1][0] = 0.2
    for logit in logits:
        logit.requires_grad_()
    losses(outputs(*logits, present), batch).backward()
    # half the square twice, of two rows, a tenth: each way a tenth of the difference
    assert logits[0].grad.tolist() == pytest.approx([0.04, -0.04])
    assert logits[1].grad[:, 0].tolist() == pytest.approx([0.02, -0.02]) and not logits[1].grad[:, 1:].any()
    sharper = replace(batch, resolution=torch.tensor([0.0, 0.3]))
    nearly = replace(batch, resolution=torch.tensor([0.0, 0.2]))
    alone = [logit.detach().clone().requires_grad_() for logit in logits]
    losses(outputs(*alone, present), sharper).backward()
    assert not alone[0].grad.any() and not alone[1].grad.any()
    losses(outputs(*alone, present), nearly).backward()
    assert torch.equal(alone[0].grad, logits[0].grad) and torch.equal(alone[1].grad, logits[1].grad)
    for again in (None, torch.tensor([0, 1])):
        alone = [logit.detach().clone().requires_grad_() for logit in logits]
        losses(outputs(*alone, present), replace(batch, again=again)).backward()
        assert not alone[0].grad.any() and not alone[1].grad.any()
