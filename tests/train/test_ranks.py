"""Training by two processes on a CPU: the gradients, norms and weights of a step are those of one process."""

import csv
import multiprocessing
import os
import subprocess
import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from functools import partial

import numpy as np
import pytest
import torch
from inline_supply import InlineSupply

from dialtell.model.net.weights_file import load_weights
from dialtell.synth.shared.errors import ParameterError
from dialtell.train.bags.supply import collect_twins
from dialtell.train.run import ranks as ranks_module
from dialtell.train.run.config import preset
from dialtell.train.run.loop import Trainer
from dialtell.train.run.ranks import ALONE, Ranks, joined
from dialtell.train.run.store import BagStore

CONFIG = preset("tiny", device="cpu", batch=8, easy=0.0)
CPU = torch.device("cpu")


def stepped(folder, ranks, steps=1, *, as_graph=False):
    """Gradients, loss, net and averaged net after some steps, without dropout.

    as_graph : with the net taken down as one graph, as a compiler would be given it.

    The encoder in float64: in float32 its peaks, where two pixels are nearly alike, make 1e-3 of a rounding.
    """
    store = BagStore(CPU, 1)
    store.add(list(collect_twins(InlineSupply().order_twins(1, 0, 4, CONFIG.scope))))
    trainer = Trainer(replace(CONFIG, steps=steps), folder, ranks=ranks)
    trainer.half = False
    trainer.net.encoder.double().register_forward_pre_hook(lambda _, given: (given[0].double(),))
    for module in trainer.net.modules():
        if isinstance(module, torch.nn.Dropout):
            module.p = 0.0
    if as_graph:
        trainer.net.compile(dynamic=False, fullgraph=True, backend="aot_eager")
    loss = trainer._train_epoch(store)
    found = {f"gradient {name}": value.grad for name, value in trainer.net.named_parameters() if value.grad is not None}
    for part, module in (("net", trainer.net), ("average", trainer.average)):
        found |= {f"{part} {name}": value for name, value in module.state_dict().items()}
    return loss, {name: value.numpy().copy() for name, value in found.items()}


def as_rank(rank, folder):
    os.environ.update(WORLD_SIZE="2", RANK=str(rank), LOCAL_RANK=str(rank))
    torch.set_num_threads(1)
    ranks = joined("cpu", at=f"file://{folder}/meet")
    try:
        shown = ranks_module.SharedSupply(InlineSupply() if ranks.first else None)
        pairs = list(collect_twins(shown.order_twins(1, 0, 2, CONFIG.scope)))
        held = len(shown.order_singles(5, 3, CONFIG.scope))
        sums = [bag.density.sum() for pair in pairs for bag in pair]
        once, graph, thrice = stepped(folder, ranks), stepped(folder, ranks, as_graph=True), stepped(folder, ranks, 3)
        return (ranks.rank, ranks.count), once, graph, thrice, sums, held
    finally:
        ranks.part()


@pytest.fixture(scope="module")
def both(tmp_path_factory):
    folder = tmp_path_factory.mktemp("ranks")
    spawn = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(2, mp_context=spawn) as pool:
        yield list(pool.map(partial(as_rank, folder=folder), range(2)))


def test_two_processes_step_as_one(both, tmp_path):
    loss, alone = stepped(tmp_path, ALONE)
    assert [who for who, *_ in both] == [(0, 2), (1, 2)]
    compared = [name for name in alone if name.startswith("gradient") or "running" in name or "batches" in name]
    assert len(compared) > 30
    for _, plain, graph, *_ in both:
        assert_stepped(plain, loss, alone, compared)
        assert_stepped(graph, loss, alone, compared)


def assert_stepped(step, loss, alone, compared):
    other_loss, found = step
    assert other_loss == pytest.approx(loss, rel=1e-5)
    assert found.keys() == alone.keys()
    for name in compared:
        away = np.abs(found[name].astype(np.float64) - alone[name]).max()
        assert away <= 1e-5 * max(np.abs(alone[name]).max(), 0.02), f"{name}: {away} of {np.abs(alone[name]).max()}"


def test_all_ranks_hold_the_same_net_after_some_steps(both):
    (loss, first), (other_loss, second) = (found for _, _, _, found, *_ in both)
    assert loss == other_loss and all(np.array_equal(first[name], second[name]) for name in first)


def test_the_step_would_differ_without_what_is_shared(tmp_path):
    """Half of the batch alone gives other gradients: what the test above compares is no matter of course."""
    _, alone = stepped(tmp_path, ALONE)

    class Half(Ranks):
        def rows(self, batch):
            return slice(0, batch // 2)

        def together(self, output):
            return output.each(lambda value: torch.cat([value, value]))

    _, half = stepped(tmp_path, Half())
    encoder = [name for name in alone if name.startswith("gradient encoder")]
    apart = [np.abs(half[name] - alone[name]).max() / np.abs(alone[name]).max() for name in encoder]
    assert max(apart) > 0.1


def test_pictures_of_the_first_are_shown_to_all(both):
    *_, first, held = both[0]
    *_, second, none = both[1]
    assert first == second and len(first) > 1 and (held, none) == (3, 0)


def test_each_draws_the_same_batch_and_makes_its_rows():
    store = BagStore(CPU, 1)
    store.add(list(collect_twins(InlineSupply().order_twins(1, 0, 4, CONFIG.scope))))
    drawn = []
    for rows in (slice(None), slice(0, 4), slice(4, 8)):
        torch.manual_seed(3)
        drawn.append(store.draw(8, 12, rng=np.random.default_rng(2), rows=rows))
    whole, *parts = drawn
    assert torch.equal(whole.patches, torch.cat([part.patches for part in parts]))
    for part, rows in zip(parts, (slice(0, 4), slice(4, 8)), strict=True):
        for name in ("zone", "resolution", "dial", "twin", "scale"):
            assert torch.equal(getattr(whole, name), getattr(part, name))
        patches, zone, resolution, scale = part.given(rows)
        assert len(patches) == len(zone) == len(resolution) == len(scale) == 4
        assert torch.equal(zone, whole.zone[rows])


def test_a_batch_is_shared_evenly(tmp_path):
    assert [Ranks(rank, 2).rows(12) for rank in range(2)] == [slice(0, 6), slice(6, 12)]
    with pytest.raises(ParameterError, match="batch is 8, for 3 processes; give --batch a multiple"):
        Trainer(CONFIG, tmp_path, ranks=Ranks(0, 3, CPU))
    assert replace(ALONE).rows(7) == slice(0, 7)


def test_without_torchrun_a_process_is_alone(monkeypatch):
    monkeypatch.delenv("WORLD_SIZE", raising=False)
    assert joined("auto") is ALONE and ALONE.first
    monkeypatch.setenv("WORLD_SIZE", "2")
    monkeypatch.setenv("RANK", "0")
    with pytest.raises(ParameterError, match="device is 'tea'"):
        joined("tea")


@pytest.mark.slow
def test_torchrun_trains_a_net(tmp_path):
    """Both processes through the command; the first alone writes."""
    script = tmp_path / "command.py"
    script.write_text(
        "import sys\nfrom dialtell.evaluate.cli.main import main\nif __name__ == '__main__':\n    sys.exit(main())\n"
    )
    words = ["train", "--preset", "tiny", "--device", "cpu", "--out", str(tmp_path / "run")]
    command = [sys.executable, "-m", "torch.distributed.run", "--nproc-per-node", "2", str(script), *words]
    one_thread = {**os.environ, "OMP_NUM_THREADS": "1"}
    done = subprocess.run(command, capture_output=True, text=True, timeout=600, env=one_thread)
    assert done.returncode == 0, done.stderr
    assert done.stdout.count("use them: dialtell score") == 1
    with (tmp_path / "run" / "metrics.csv").open(newline="") as file:
        assert [row["epoch"] for row in csv.DictReader(file)] == ["1", "2"]
    assert load_weights(tmp_path / "run" / "strokes.safetensors").name == "strokes"
