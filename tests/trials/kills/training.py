"""Training, cut off anywhere: what must hold when it was and when it is whole."""

from __future__ import annotations

import csv
import functools
import json
from concurrent.futures import Future
from pathlib import Path
from typing import Any

from trials.kills.workload import (
    Workload,
    differences,
    run_dialtell,
)


class _KeptSupply:
    """Stands in for `train.supply.Supply`: pictures drawn once, in the parent, and found in memory by every run."""

    def __init__(self, workers: int = 0) -> None:
        self.workers = 1

    def __enter__(self) -> _KeptSupply:
        return self

    def __exit__(self, *_: object) -> None:
        """Nothing to end."""

    def order_twins(self, seed: int, first: int, count: int, scope: Any) -> list[Future[Any]]:
        return [_done(_twins(seed, index, scope)) for index in range(first, first + count)]

    def order_singles(self, seed: int, count: int, scope: Any) -> list[Future[Any]]:
        return [_done(_single(seed, index, scope)) for index in range(count)]


@functools.cache
def _twins(seed: int, index: int, scope: Any) -> Any:
    from dialtell.train.bags.bags import twin_bags

    return twin_bags(seed, index, scope)


@functools.cache
def _single(seed: int, index: int, scope: Any) -> Any:
    from dialtell.train.bags.bags import single_bag

    return single_bag(seed, index, scope)


def _done(value: Any) -> Future[Any]:
    future: Future[Any] = Future()
    future.set_result(value)
    return future


class Train(Workload):
    """`train`, gone on with by --resume: the weights are byte for byte those of a run left alone.

    Checkpoints hold the same numbers and counters; safetensors lays counters down in no fixed order.
    """

    name = "train"
    epochs = 4

    def prepare(self) -> None:
        from dialtell.train.bags import supply
        from dialtell.train.run.config import preset
        from dialtell.train.run.finish import order_held_out

        self.put(supply, "Supply", _KeptSupply)
        config = preset("tiny")
        kept: Any = _KeptSupply()
        kept.order_twins(1, 0, 2 * self.epochs, config.scope)
        kept.order_singles(supply.VALIDATION_SEED, config.validation, config.scope)
        order_held_out(kept, config)

    def start(self, out: Path) -> int:
        if (out / "config.json").exists():
            return run_dialtell("train", "--resume", out, "--quiet")
        return run_dialtell("train", "--preset", "tiny", "--epochs", self.epochs, "--pairs", 2, "--device", "cpu",
                         "--workers", 1, "--out", out, "--quiet")  # fmt: skip

    def progress(self, out: Path) -> float:
        from safetensors import SafetensorError, safe_open

        try:
            with safe_open(out / "last.safetensors", framework="pt") as file:
                return int(file.metadata()["epoch"]) / self.epochs
        except (OSError, SafetensorError):
            return 0.0

    def faults_when_cut(self, out: Path, whole: Path) -> list[str]:
        from safetensors import SafetensorError, safe_open

        faults = []
        for path in out.glob("*.safetensors"):
            try:
                with safe_open(path, framework="pt"):
                    pass
            except SafetensorError as error:
                faults.append(f"{path.name} is not whole ({error})")
        return faults

    def faults_when_whole(self, out: Path, whole: Path) -> list[str]:
        apart = (
            "last.safetensors",
            "best.safetensors",
            "metrics.csv",
            "strokes.json",
            "config.json",
            "MODEL_CARD.md",
            "held_out_logits.npz",
        )
        faults = [text for text in differences(out, whole) if not text.startswith(apart)]
        for reader in (_learnt, _described, _kept):
            if reader(out) != reader(whole):
                faults.append(f"{reader.__name__.strip('_')} differs")
        return faults


def _learnt(out: Path) -> list[dict[str, str]]:
    with (out / "metrics.csv").open(newline="") as file:
        return [{key: cell for key, cell in row.items() if "seconds" not in key} for row in csv.DictReader(file)]


def _kept(out: Path) -> list[Any]:
    from safetensors import safe_open

    found: list[Any] = []
    for name in ("last", "best"):
        with safe_open(out / f"{name}.safetensors", framework="np") as file:
            tensors = {key: file.get_tensor(key) for key in sorted(file.keys())}
            found.append((file.metadata(), {key: (value.shape, value.tobytes()) for key, value in tensors.items()}))
    return found


def _described(out: Path) -> Any:
    record = json.loads((out / "strokes.json").read_text("utf-8"))
    record["training"].pop("command")
    return record
