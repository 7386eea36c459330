"""One step of training by several processes, each on a card of its own, beside one process: its gradients and its pace.

    python tests/trials speed/ranks --processes 2 --compiled
    python tests/trials speed/ranks --processes 2 --preset tiny --device cpu --steps 2

Bags hold noise in as many patches as a step draws, so that no picture is drawn. Three ways are gone one after the
other, each figure printed as soon as it is there:

gradients  of a first step of eight dials without dropout, not compiled: once with the encoder in float64, once all in
           float32 without TF32, where a rounding decides between two peaks of nearly equal pixels
compiled   (--compiled) steps a second as training runs them on a GPU
plain      steps a second of nets that are not compiled

Of each way one process and several begin together, so that compiling takes its time once; they are timed one after the
other, once both have taken their first steps. What has not come to its end after --limit seconds is ended, named, and
the next way begins.
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import os
import signal
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import replace
from multiprocessing.process import BaseProcess
from pathlib import Path
from typing import Any

import numpy as np

WARM = 12  # steps before the pace is taken
FEW = 8  # dials of the step whose gradients are compared
WIDE, SINGLE = "float64", "float32"  # of the encoder, of that step


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


# --- in the process of a rank ---


def first_step(folder: Path, config: Any, ranks: Any, numbers: str) -> float:
    """The loss of one step; its gradients are left in `folder`."""
    import torch

    from dialtell.model.net.device import in_single_precision
    from dialtell.train.run.loop import Trainer
    from dialtell.train.run.store import BagStore

    trainer = Trainer(replace(config, steps=1, batch=FEW), folder, device=ranks.device, ranks=ranks)
    in_single_precision(trainer.device)
    trainer.half = False
    trainer.net._compiled_call_impl = None
    if numbers == WIDE:
        encoder: torch.nn.Module = trainer.net.get_submodule("encoder")
        encoder.double().register_forward_pre_hook(lambda _, given: (given[0].double(),))
    for module in trainer.net.modules():
        if isinstance(module, torch.nn.Dropout):
            module.p = 0.0
    store = BagStore(trainer.device, 1)
    store.add(noise_bags(FEW, config.patches))
    loss = trainer._train_epoch(store)
    if ranks.first:
        named = trainer.net.named_parameters()
        kept: dict[str, Any] = {name: value.grad.cpu().numpy() for name, value in named if value.grad is not None}
        np.savez(folder / numbers, **kept)
    return loss


def pace(folder: Path, config: Any, ranks: Any, steps: int, compiled: bool, wait: Callable[[], None]) -> float:
    """Steps a second, taken once `wait` has come back."""
    from dialtell.train.run.loop import Trainer
    from dialtell.train.run.store import BagStore

    trainer = Trainer(replace(config, steps=WARM), folder, device=ranks.device, ranks=ranks)
    if not compiled:
        trainer.net._compiled_call_impl = None
    store = BagStore(trainer.device, 1)
    store.add(noise_bags(config.batch, config.patches))
    trainer._train_epoch(store)
    wait()
    trainer.config = replace(config, steps=steps)
    began = time.monotonic()
    trainer._train_epoch(store)  # its last line waits for the device
    return steps / (time.monotonic() - began)


def as_rank(rank: int, count: int, folder: Path, config: Any, steps: int, way: str) -> None:
    """One rank's run; what the first finds is left in `folder`, and where it stands, and what went wrong."""
    os.setsid()  # with all that it starts to compile
    import torch

    from dialtell.train.run.ranks import ALONE, joined

    torch.set_num_threads(1)
    os.environ.update(WORLD_SIZE=str(count), RANK=str(rank), LOCAL_RANK=str(rank))

    def wait() -> None:
        (folder / f"warm-{rank}").touch()
        while not (folder / "go").exists():
            time.sleep(0.01)

    try:
        ranks = joined(config.device, at=f"file://{folder}/meet") if count > 1 else ALONE
        found: dict[str, float] = {}
        if way == "gradients":
            found = {f"loss {numbers}": first_step(folder, config, ranks, numbers) for numbers in (WIDE, SINGLE)}
        else:
            found = {"steps_per_second": pace(folder, config, ranks, steps, way == "compiled", wait)}
        (folder / f"found-{rank}.part").write_text(json.dumps(found))
        (folder / f"found-{rank}.part").rename(folder / f"found-{rank}")
        ranks.part()
    except Exception as error:  # one way that does not run is a finding, and takes no other with it
        (folder / "failed").write_text(f"{type(error).__name__}: {error}"[:600])
        raise


# --- in the process that starts them ---


class Run:
    """`count` processes going one way."""

    def __init__(self, count: int, folder: Path, config: Any, steps: int, way: str) -> None:
        folder.mkdir(parents=True)
        self.count, self.folder, self.name = count, folder, f"{way} {count}"
        start = multiprocessing.get_context("spawn").Process
        given = [(rank, count, folder, config, steps, way) for rank in range(count)]
        self.ranks: list[BaseProcess] = [start(target=as_rank, args=each) for each in given]
        for rank in self.ranks:
            rank.start()

    def come(self, to: str) -> bool:
        """Whether all of its processes have left a file of that name and their number."""
        return all((self.folder / f"{to}-{rank}").exists() for rank in range(self.count))

    @property
    def failed(self) -> bool:
        """Whether one of its processes ended otherwise than well."""
        return (self.folder / "failed").exists() or any(rank.exitcode for rank in self.ranks)

    def until(self, to: str, end: float) -> bool:
        """Wait for that at most until `end`, monotonic; whether it came."""
        while not (self.come(to) or self.failed) and time.monotonic() < end:
            time.sleep(0.02)
        return self.come(to)

    def close(self) -> dict[str, Any]:
        """End what is left of it, and all that it started. What it found, or a reason."""
        late = not (self.come("found") or self.failed)
        for rank in self.ranks:
            rank.join(0 if late or self.failed else 10)
            if rank.exitcode is None and rank.pid is not None:
                rank.kill()  # itself, should it not have come to lead a group yet
                with suppress(ProcessLookupError):
                    os.killpg(rank.pid, signal.SIGKILL)
            rank.join()
        if self.come("found"):
            return dict(json.loads((self.folder / "found-0").read_text()))
        reason = self.folder / "failed"
        return {"failed": reason.read_text() if reason.exists() else "took too long" if late else "ended by itself"}


def say(what: str, found: Any) -> None:
    """One figure, at once."""
    print(f"{what}: {json.dumps(found)}", flush=True)


def gone(way: str, counts: Sequence[int], home: Path, config: Any, steps: int, limit: float) -> dict[str, Any]:
    """What runs of so many processes come to; those that are timed one after the other, once all are warm."""
    end = time.monotonic() + limit
    runs = [Run(count, home / f"{way}-{count}", config, steps, way) for count in counts]
    found: dict[str, Any] = {}
    try:
        if way != "gradients":
            for run in runs:
                if not run.until("warm", end):
                    found[str(run.count)] = run.close()  # nothing else is timed beside it
                    say(run.name, found[str(run.count)])
            end = max(end, time.monotonic() + limit / 2)
        for run in runs:
            if str(run.count) not in found:
                (run.folder / "go").touch()
                run.until("found", end)
                found[str(run.count)] = run.close()
                say(run.name, found[str(run.count)])
    finally:
        for run in runs:
            run.close()
    alone, several = (found[str(count)].get("steps_per_second") for count in counts)
    if alone and several:
        found["times"] = several / alone
        say(f"{way}, times", found["times"])
    return found


def farthest(one: Path, other: Path) -> float:
    """Largest difference of two runs' gradients, as a share of the largest of each tensor, at least 0.02."""
    with np.load(one) as mine, np.load(other) as theirs:
        return max(
            float(np.abs(mine[name] - theirs[name]).max() / max(float(np.abs(mine[name]).max()), 0.02))
            for name in mine.files
        )


def main(arguments: Sequence[str] | None = None) -> int:
    """The runs, each figure as it comes and all of them as JSON in the end."""
    from dialtell.train.run.config import PRESETS, preset

    parser = argparse.ArgumentParser(prog="python tests/trials speed/ranks", description=__doc__,
                                     formatter_class=argparse.RawDescriptionHelpFormatter)  # fmt: skip
    parser.add_argument("--processes", type=int, default=2, help="(default: %(default)s)")
    parser.add_argument("--preset", choices=tuple(PRESETS), default="full", help="(default: %(default)s)")
    parser.add_argument("--device", default="auto", help="(default: %(default)s)")
    parser.add_argument("--steps", type=int, default=60, help="that the pace is taken over (default: %(default)s)")
    parser.add_argument("--compiled", action="store_true", help="also with compiled nets")
    parser.add_argument("--limit", type=float, default=120, help="seconds that one way may take (default: %(default)s)")
    args = parser.parse_args(arguments)
    config = preset(args.preset, device=args.device, easy=0.0, epochs=1)
    counts = (1, args.processes)
    found: dict[str, Any] = {"processes": args.processes, "batch": config.batch, "patches": config.patches}
    began = time.monotonic()
    with tempfile.TemporaryDirectory() as home:
        for way in ("gradients", "compiled", "plain") if args.compiled else ("gradients", "plain"):
            found[way] = gone(way, counts, Path(home), config, args.steps, args.limit)
            for numbers in (WIDE, SINGLE) if way == "gradients" else ():
                kept = [Path(home, f"gradients-{count}", f"{numbers}.npz") for count in counts]
                if all(path.is_file() for path in kept):
                    found[f"gradients apart, {numbers}"] = farthest(*kept)
                    say(f"gradients apart, {numbers}", found[f"gradients apart, {numbers}"])
            print(f"{time.monotonic() - began:.0f} s", file=sys.stderr, flush=True)
    print(json.dumps(found))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
