"""One step of training by several processes, each on a card of its own, beside one process: its gradients and its pace.

    python tests/trials speed/ranks --processes 2
    python tests/trials speed/ranks --processes 2 --preset tiny --device cpu --steps 2

Bags hold noise in as many patches as a step draws, so that no picture is drawn. Gradients are of a first step without
dropout, the encoder in float64; the pace is that of later steps as training runs them, once as they are and once
compiled (on a GPU alone). Each run is a process of its own, or as many as it has ranks.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import os
import tempfile
import time
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

WARM = 12  # steps before the pace is taken
KEPT = "gradients.npz"


def noise_bags(count: int, patches: int, seed: int = 0) -> list[list[Any]]:
    """`count` twins of noise in so many patches of all zones and three scales."""
    from dialtell.model.reading.patches import SIDE
    from dialtell.synth.shared.terms import ZONES
    from dialtell.train.bags.bags import Bag

    rng = np.random.default_rng(seed)

    def bag(hand: int, index: int) -> Bag:
        zone = (np.arange(patches) % len(ZONES)).astype(np.int8)
        density = rng.integers(0, 256, (patches, SIDE, SIDE), dtype=np.uint8)
        scale = (rng.integers(0, 3, patches) / 2).astype(np.float32)
        return Bag(density, zone, 0.0, np.full(len(ZONES), hand, np.int8), hand, -1, index, scale=scale)

    return [[bag(1, index), bag(0, index)] for index in range(count)]


def stepped(folder: Path, config: Any, ranks: Any, steps: int, compiled: bool) -> dict[str, float]:
    """Trains a little; leaves the first step's gradients in `folder` unless compiled. Steps a second, and the loss."""
    import torch

    from dialtell.train.run.loop import Trainer
    from dialtell.train.run.store import BagStore

    found = {}
    if not compiled:
        trainer = Trainer(replace(config, steps=1), folder, device=ranks.device, ranks=ranks)
        trainer.half = False
        encoder: torch.nn.Module = trainer.net.get_submodule("encoder")
        encoder.double().register_forward_pre_hook(lambda _, given: (given[0].double(),))
        for module in trainer.net.modules():
            if isinstance(module, torch.nn.Dropout):
                module.p = 0.0
        store = BagStore(trainer.device, 1)
        few = replace(config, steps=1, batch=8)
        trainer.config = few
        store.add(noise_bags(8, config.patches))
        found["loss"] = trainer._train_epoch(store)
        if ranks.first:
            named = trainer.net.named_parameters()
            kept: dict[str, Any] = {name: value.grad.cpu().numpy() for name, value in named if value.grad is not None}
            np.savez(folder / KEPT, **kept)
    trainer = Trainer(replace(config, steps=WARM), folder, device=ranks.device, ranks=ranks)
    if compiled and ranks.count > 1:
        trainer.net.compile(dynamic=False)
    elif not compiled:
        trainer.net._compiled_call_impl = None  # as a trainer of one process compiles it
    store = BagStore(trainer.device, 1)
    store.add(noise_bags(config.batch, config.patches))
    trainer._train_epoch(store)
    trainer.config = replace(config, steps=steps)
    began = time.monotonic()
    trainer._train_epoch(store)  # its last line waits for the device
    return found | {"steps_per_second": steps / (time.monotonic() - began)}


def as_rank(rank: int, count: int, folder: Path, config: Any, steps: int, compiled: bool) -> dict[str, float]:
    """One rank's run."""
    import torch

    from dialtell.train.run.ranks import ALONE, joined

    torch.set_num_threads(1)
    os.environ.update(WORLD_SIZE=str(count), RANK=str(rank), LOCAL_RANK=str(rank))
    ranks = joined(config.device, at=f"file://{folder}/meet") if count > 1 else ALONE
    try:
        return stepped(folder, config, ranks, steps, compiled)
    finally:
        ranks.part()


def run(config: Any, count: int, steps: int, compiled: bool, folder: Path) -> dict[str, Any]:
    """What `count` processes come to; a reason where they fail."""
    folder.mkdir(parents=True)
    spawn = multiprocessing.get_context("spawn")
    do = partial(as_rank, count=count, folder=folder, config=config, steps=steps, compiled=compiled)
    with ProcessPoolExecutor(count, mp_context=spawn) as pool:
        try:
            return next(iter(pool.map(do, range(count))))
        except Exception as error:  # one way that does not run is a finding, and takes no other with it
            return {"failed": f"{type(error).__name__}: {error}"[:400]}


def farthest(one: Path, other: Path) -> float:
    """Largest difference of two runs' gradients, as a share of the largest of each tensor, at least 0.02."""
    with np.load(one / KEPT) as mine, np.load(other / KEPT) as theirs:
        return max(
            float(np.abs(mine[name] - theirs[name]).max() / max(float(np.abs(mine[name]).max()), 0.02))
            for name in mine.files
        )


def main(arguments: Sequence[str] | None = None) -> int:
    """The runs, as JSON."""
    from dialtell.train.run.config import PRESETS, preset

    parser = argparse.ArgumentParser(prog="python tests/trials speed/ranks", description=__doc__,
                                     formatter_class=argparse.RawDescriptionHelpFormatter)  # fmt: skip
    parser.add_argument("--processes", type=int, default=2, help="(default: %(default)s)")
    parser.add_argument("--preset", choices=tuple(PRESETS), default="full", help="(default: %(default)s)")
    parser.add_argument("--device", default="auto", help="(default: %(default)s)")
    parser.add_argument("--steps", type=int, default=60, help="that the pace is taken over (default: %(default)s)")
    parser.add_argument("--compiled", action="store_true", help="also with compiled nets")
    args = parser.parse_args(arguments)
    config = preset(args.preset, device=args.device, easy=0.0, epochs=1)
    found: dict[str, Any] = {"processes": args.processes, "batch": config.batch, "patches": config.patches}
    with tempfile.TemporaryDirectory() as home:
        for compiled in (False, True) if args.compiled else (False,):
            name = "compiled" if compiled else "plain"
            runs = {
                count: run(config, count, args.steps, compiled, Path(home, f"{name}-{count}"))
                for count in (1, args.processes)
            }
            found[name] = {str(count): one for count, one in runs.items()}
            alone, several = (one.get("steps_per_second", 0.0) for one in runs.values())
            found[name]["times"] = several / alone if alone and several else None
            print(json.dumps(found[name]), flush=True)
        kept = [Path(home, f"plain-{count}") for count in (1, args.processes)]
        there = all((folder / KEPT).is_file() for folder in kept)
        found["gradients apart"] = farthest(*kept) if there else None
    print(json.dumps(found, indent=1))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
