"""The training of the reader: draw pictures as fast as the cores allow, step as fast as the device does."""

from __future__ import annotations

import csv
import json
import logging
import os
import time
from collections import deque
from collections.abc import Callable, Sequence
from concurrent.futures import Future
from copy import deepcopy
from dataclasses import replace
from pathlib import Path

import numpy as np
import torch
from numpy.typing import NDArray
from safetensors import SafetensorError, safe_open
from safetensors.torch import load_file
from safetensors.torch import save as save_tensors
from torch import Tensor, nn
from tqdm import tqdm

from dialtell.model.net.device import pick_device
from dialtell.model.reader.net import SIDE, ReaderNet
from dialtell.synth.scene import RENDERER_VERSION
from dialtell.synth.shared.errors import OutputError, ParameterError, said_in_words
from dialtell.synth.shared.files import whole_file, write_whole
from dialtell.synth.shared.record import from_record, to_record
from dialtell.synth.shared.tables import rows_text
from dialtell.synth.shared.workers import spawned
from dialtell.train.reader.config import VALIDATION_SEED, ReaderTraining
from dialtell.train.reader.disturbance import disturbed, turned
from dialtell.train.reader.judging import FIGURES, judged
from dialtell.train.reader.loss import PARTS, losses, total
from dialtell.train.reader.pictures import TRUTH, Pictures, pictures_of
from dialtell.train.run.compiled import can_compile, compiled
from dialtell.train.run.loop import half_precision, moment_of

log = logging.getLogger("dialtell.train")

COLUMNS = ("epoch", "step", "rate", "pictures", *PARTS, *FIGURES, "seconds", "wait_seconds")


class Window:
    """The newest pictures, on the device. size : how many."""

    def __init__(self, size: int, device: torch.device) -> None:
        self.picture = torch.zeros((size, SIDE, SIDE, 3), dtype=torch.uint8, device=device)
        self.seen = torch.zeros((size, SIDE, SIDE), dtype=torch.uint8, device=device)
        self.truth = torch.zeros((size, len(TRUTH)), device=device)
        self.taken = 0

    @property
    def held(self) -> int:
        """Pictures that are there."""
        return min(self.taken, len(self.truth))

    def take(self, pictures: Pictures) -> None:
        """Put new pictures in the place of the oldest."""
        at = torch.arange(self.taken, self.taken + len(pictures.truth)) % len(self.truth)
        at = at.to(self.truth.device)
        for own, new in zip((self.picture, self.seen, self.truth), pictures, strict=True):
            own[at] = torch.from_numpy(new).to(own.device)
        self.taken += len(pictures.truth)

    def drawn(self, count: int, rng: np.random.Generator) -> tuple[Tensor, Tensor, Tensor]:
        """A batch at random: pictures (B, 3, SIDE, SIDE) float32 codes, seen (B, SIDE, SIDE) long, truth."""
        at = torch.from_numpy(rng.integers(0, self.held, count)).to(self.truth.device)
        return self.picture[at].permute(0, 3, 1, 2).float(), self.seen[at].long(), self.truth[at]


class ReaderTrainer:
    """One run in one folder. photos : backgrounds of the user's own, (H, W, 3) uint8 each."""

    def __init__(self, config: ReaderTraining, folder: Path, *, photos: Sequence[NDArray[np.uint8]] = ()) -> None:
        self.config, self.folder, self.photos = config, folder, photos
        self.device, self.reason = pick_device(config.device)
        torch.manual_seed(config.seed)
        self.net = ReaderNet(config.net).to(self.device, memory_format=torch.channels_last)  # type: ignore[call-overload]
        self.average = deepcopy(self.net).eval()
        if can_compile(self.device):
            self.net.compile(dynamic=False)
        self._losses = compiled(losses, self.device)
        self.optimizer = torch.optim.AdamW(
            self.net.parameters(), lr=config.rate, weight_decay=config.decay, fused=self.device.type == "cuda"
        )
        # looked up once, not every step: all that loads weights writes into these tensors
        pairs = zip(self.average.state_dict().values(), self.net.state_dict().values(), strict=True)
        moving = [(own, new) for own, new in pairs if own.is_floating_point()]
        self._followed = [own for own, _ in moving], [new for _, new in moving]
        self.epoch = self.step = self.index = 0
        self.rows: list[list[str]] = []

    # --- where a run is kept ---

    def start_folder(self) -> None:
        """Make the run's folder; refuses one that holds a run already."""
        if (self.folder / "config.json").exists():
            raise OutputError(f"{self.folder} holds a run already; give --resume {self.folder} or another --out")
        with said_in_words(self.folder):
            self.folder.mkdir(parents=True, exist_ok=True)
        about = {"net": "reader", "config": to_record(self.config), "renderer_version": RENDERER_VERSION}
        write_whole(self.folder / "config.json", json.dumps(about, indent=1).encode(), overwrite=True)

    def save(self) -> None:
        """Net and averaged net in one file, the optimiser's moments in another, so that each is small."""
        counters = {"epoch": str(self.epoch), "step": str(self.step), "index": str(self.index)}
        nets = {f"net.{k}": v for k, v in self.net.state_dict().items()}
        nets |= {f"average.{k}": v for k, v in self.average.state_dict().items()}
        moments = {
            f"{index}.{key}": value
            for index, state in self.optimizer.state_dict()["state"].items()
            for key, value in state.items()
        }
        for name, tensors in (("moments", moments), ("last", nets)):
            whole = {key: value.detach().cpu().contiguous().clone() for key, value in tensors.items()}
            with whole_file(self.folder / f"{name}.safetensors") as file:
                file.write(save_tensors(whole, metadata=counters))
        write_whole(self.folder / "metrics.csv", rows_text([COLUMNS, *self.rows]).encode(), overwrite=True)

    @classmethod
    def resume(cls, folder: Path, *, epochs: int | None = None, device: str | None = None,
               photos: Sequence[NDArray[np.uint8]] = ()) -> ReaderTrainer:  # fmt: skip
        """Go on with the run in `folder`. epochs : in all, another number changes the rates still to come.

        Raises ParameterError without a run of the reader there, or one that is damaged.
        """
        try:
            about = json.loads((folder / "config.json").read_text("utf-8"))
            if about.get("net") != "reader":
                raise ValueError("it is no run of the reader")
            config = from_record(ReaderTraining, about["config"])
        except (OSError, ValueError, LookupError, TypeError) as error:
            raise ParameterError(f"--resume {folder}: no run of the reader to go on with ({error})") from error
        changes = {"epochs": epochs, "device": device}
        config = replace(config, **{k: v for k, v in changes.items() if v is not None})  # type: ignore[arg-type]
        trainer = cls(config, folder, photos=photos)
        if (folder / "last.safetensors").is_file():
            trainer._restore()
        return trainer

    def _restore(self) -> None:
        try:
            with safe_open(self.folder / "last.safetensors", framework="pt") as file:
                counters = file.metadata()
            tensors = load_file(self.folder / "last.safetensors")
            for part, module in (("net.", self.net), ("average.", self.average)):
                module.load_state_dict({k.removeprefix(part): v for k, v in tensors.items() if k.startswith(part)})
            state = self.optimizer.state_dict()
            parameters = list(self.net.parameters())
            for key, value in load_file(self.folder / "moments.safetensors").items():
                index, name = key.split(".")
                if name != "step":
                    value = moment_of(parameters[int(index)], value, key)
                state["state"].setdefault(int(index), {})[name] = value
            self.optimizer.load_state_dict(state)
            self.epoch, self.step, self.index = (int(counters[name]) for name in ("epoch", "step", "index"))
            with (self.folder / "metrics.csv").open(newline="") as file:
                self.rows = [row for row in csv.reader(file)][1 : self.epoch + 1]
        except (SafetensorError, RuntimeError, ValueError, LookupError, OSError) as error:
            raise ParameterError(
                f"--resume {self.folder}: the checkpoint is damaged ({error}); start a new run"
            ) from error

    # --- training ---

    def run(self, *, seconds: float | None = None) -> None:
        """Train to the last epoch, or until `seconds` have gone by, saving after each epoch."""
        config, began = self.config, time.monotonic()
        workers = config.workers or len(os.sched_getaffinity(0))
        window = Window(config.window, self.device)
        rng = np.random.default_rng([config.seed, self.step])
        with spawned(workers) as pool:
            held = [
                pool.submit(pictures_of, VALIDATION_SEED, k, 2, self.photos) for k in range(-(-config.validation // 2))
            ]
            waiting: deque[Future[Pictures]] = deque()

            def fetch(least: int) -> None:
                """Take what has been drawn, and wait until at least so many pictures are there."""
                while True:
                    while len(waiting) < 3 * workers:
                        waiting.append(pool.submit(pictures_of, config.seed, self.index, config.settings, self.photos))
                        self.index += 1
                    if not waiting[0].done() and window.held >= least:
                        return
                    window.take(waiting.popleft().result())

            validation = [future.result() for future in held]
            while self.epoch < config.epochs and (seconds is None or time.monotonic() - began < seconds):
                self._epoch(window, fetch, rng, validation, began)
                self.save()
            pool.shutdown(wait=True, cancel_futures=True)

    def _epoch(
        self, window: Window, fetch: Callable[[int], None], rng: np.random.Generator, validation: list[Pictures],
        began: float,
    ) -> None:  # fmt: skip
        config = self.config
        sums = dict.fromkeys(PARTS, torch.zeros((), device=self.device))
        waited = 0.0
        self.net.train()
        for _ in tqdm(range(config.steps), desc=f"epoch {self.epoch + 1}", leave=False, disable=None):
            before = time.monotonic()
            fetch(min(config.first, config.window))
            waited += time.monotonic() - before
            picture, seen, truth = turned(*window.drawn(config.batch, rng), int(rng.integers(4)))
            parts = self._step(disturbed(picture), seen, truth)
            sums = {name: sums[name] + parts[name] for name in sums}
        self.epoch += 1
        figures = judged(self.average, validation, self.device)
        row = {
            "epoch": self.epoch, "step": self.step, "rate": f"{self._rate():.3g}", "pictures": window.taken,
            **{name: f"{float(value) / config.steps:.4f}" for name, value in sums.items()},
            **{name: f"{value:.4f}" for name, value in figures.items()},
            "seconds": f"{time.monotonic() - began:.0f}", "wait_seconds": f"{waited:.0f}",
        }  # fmt: skip
        self.rows.append([str(row[name]) for name in COLUMNS])
        log.info("%s", "  ".join(f"{name} {value}" for name, value in row.items()))

    def _step(self, picture: Tensor, seen: Tensor, truth: Tensor) -> dict[str, Tensor]:
        for group in self.optimizer.param_groups:
            group["lr"] = self._rate()
        picture = picture.contiguous(memory_format=torch.channels_last)
        with torch.autocast(self.device.type, torch.bfloat16, enabled=half_precision(self.device)):
            sight = self.net(picture, True)
        parts = self._losses(sight, seen, truth)
        self.optimizer.zero_grad(set_to_none=True)
        total(parts).backward()  # type: ignore[no-untyped-call]
        nn.utils.clip_grad_norm_(self.net.parameters(), 2.0)
        self.optimizer.step()
        self.step += 1
        share = min(self.config.average, self.step / (self.step + 20.0))
        with torch.no_grad():
            torch._foreach_lerp_(self._followed[0], self._followed[1], 1.0 - share)
        return {name: value.detach() for name, value in parts.items()}

    def _rate(self) -> float:
        """Rising, level, falling to nothing."""
        config = self.config
        all_steps = config.epochs * config.steps
        rise = (self.step + 1) / max(config.warmup * all_steps, 1.0)
        fall = (all_steps - self.step) / max(config.cooling * all_steps, 1.0)
        return config.rate * float(np.clip(min(rise, fall), 0.002, 1.0))
