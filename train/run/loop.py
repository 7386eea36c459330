"""The training loop: draw twins, step, validate, keep what is needed to go on exactly where it stopped."""

from __future__ import annotations

import csv
import json
import logging
import math
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from copy import deepcopy
from dataclasses import replace
from pathlib import Path

import numpy as np
import torch
from safetensors import SafetensorError, safe_open
from safetensors.torch import load_file
from safetensors.torch import save as save_tensors
from torch import Tensor, nn
from torch.nn.functional import binary_cross_entropy_with_logits as cross_entropy
from torch.optim.swa_utils import get_ema_multi_avg_fn
from tqdm import tqdm

from dialtell.model.net.device import pick_device
from dialtell.model.net.net import StrokeNet
from dialtell.model.net.output import NetOutput
from dialtell.synth.scene import RENDERER_VERSION
from dialtell.synth.shared.errors import OutputError, ParameterError, said_in_words
from dialtell.synth.shared.files import append, whole_file, write_whole
from dialtell.synth.shared.record import from_record, to_record
from dialtell.synth.shared.tables import rows_text
from dialtell.train.bags.bags import Bag
from dialtell.train.bags.supply import Supply
from dialtell.train.run.compiled import compile_net, compiled
from dialtell.train.run.config import TrainConfig
from dialtell.train.run.feed import Feed
from dialtell.train.run.ranks import ALONE, Ranks
from dialtell.train.run.store import BagStore, Batch, HeldOut
from dialtell.train.stats.discrimination import auc

log = logging.getLogger("dialtell.train")

COLUMNS = (
    "epoch",
    "step",
    "rate",
    "loss",
    "validation_loss",
    "validation_auc",
    "dials",
    "seconds",
    "wait_seconds",
)
SAME_SIGHT = 0.25  # log2 of true px, up to which two cameras are held to see alike
AVERAGE = 0.995  # of the slowly following copy of the weights that is kept
# times the least validation loss up to which an epoch counts as the best so far: by so much a few hundred dials move it
# by chance, and of epochs that are equal to them the later, learnt at a lower rate, tells families not seen far better
AS_GOOD = 1.02


def half_precision(device: torch.device) -> bool:
    """Whether steps run in bfloat16: on CUDA, and on CPUs with instructions for it (there about 1.8 times as fast)."""
    if device.type == "cpu":
        known = getattr(torch.cpu, "_is_avx512_bf16_supported", None)  # torch has no public name for it
        return known is not None and bool(known())
    return device.type == "cuda"


def losses(output: NetOutput, batch: Batch) -> Tensor:
    """What is asked of each voice, on the mean over them, and a fifth of the cross entropy of the process of print.
    Asked apart, neither leaves to the other what it could tell by itself."""
    printed = _masked(output.photographic, batch.photographic, batch.photographic >= 0)
    # likewise a photographic print and its transfer twin, at the weight that output has
    grained = (batch.photographic == 1) & (batch.photographic[batch.twin] == 0)
    apart = nn.functional.softplus(output.photographic[batch.twin] - output.photographic)
    apart = (apart * grained).sum() / grained.sum().clamp(min=1)
    own = batch.hand.gather(1, batch.zone.clamp(min=0)) if batch.strokes is None else batch.strokes
    asked = torch.stack([_asked(voice, batch, own) for voice in output.spoken])
    return asked.mean() + 0.2 * printed + 0.2 * apart


def _asked(voice: NetOutput, batch: Batch, own: Tensor) -> Tensor:
    """Cross entropy, nats, per zone, per dial and per patch (half weight); half the twin loss: a painted twin must
    score above its printed one; and half of what is asked within a dial of both kinds. Where twins look alike the truth
    is one half, and nothing is asked of their order. A tenth of what two cameras that resolve alike say apart of one
    dial. own : (B, N) truth of each patch, 1, 0 or -1.
    """
    zone = _masked(voice.zone, batch.hand, voice.present & (batch.hand >= 0))
    patch = _masked(voice.patch, own, (batch.zone >= 0) & (own >= 0))
    dial = _masked(voice.dial, batch.dial, batch.dial >= 0)
    within = _within_loss(voice.patch, own, batch.zone >= 0)
    return zone + dial + 0.5 * patch + 0.5 * _twin_loss(voice, batch) + 0.5 * within + 0.1 * _camera_loss(voice, batch)


def _twin_loss(output: NetOutput, batch: Batch) -> Tensor:
    """The painted twin must score above its printed one: what they share, which is all but strokes, cancels."""
    painted = (batch.dial == 1) & (batch.dial[batch.twin] == 0)
    both = output.present & output.present[batch.twin] & painted[:, None] & (batch.hand == 1)
    inside = (batch.zone >= 0).to(output.patch.dtype)
    mean = (output.patch * inside).sum(1) / inside.sum(1).clamp(min=1)
    total = torch.zeros((), device=output.dial.device)
    for score, known in ((output.dial, painted), (output.zone, both), (mean, painted)):
        weight = known.to(score.dtype)
        each = nn.functional.softplus(score[batch.twin] - score)
        total = total + (each * weight).sum() / weight.sum().clamp(min=1)
    return total


def _camera_loss(output: NetOutput, batch: Batch) -> Tensor:
    """How far apart the logits of a dial and its zones are under two cameras: half the square, from 1 nat on linear.

    Only where both resolve the same, to SAME_SIGHT: of a blurred picture less can be known, and neither should the
    sharp one be held back for it nor the blurred one be as sure.
    """
    if batch.again is None:
        return output.dial.new_zeros(())
    other = batch.again
    twice = other != torch.arange(len(other), device=other.device)
    twice = twice & ((batch.resolution - batch.resolution[other]).abs() < SAME_SIGHT)
    both = output.present & output.present[other] & twice[:, None]
    total = output.dial.new_zeros(())
    for logit, known in ((output.dial, twice), (output.zone, both)):
        weight = known.to(logit.dtype)
        each = nn.functional.smooth_l1_loss(logit, logit[other], reduction="none")
        total = total + (each * weight).sum() / weight.sum().clamp(min=1)
    return total


def _within_loss(patch: Tensor, own: Tensor, real: Tensor) -> Tensor:
    """On dials that show both kinds: a painted patch above a printed one, and both kinds weighing alike.

    patch : (B, N) logits. own : (B, N) truth, 1, 0 or -1. real : (B, N) patches that exist. Plain cross entropy hardly
    feels the few patches of one odd figure.
    """
    painted, printed = ((real & (own == truth)).to(patch.dtype) for truth in (1, 0))
    both = ((painted.sum(1) > 0) & (printed.sum(1) > 0)).to(patch.dtype)
    pairs = painted[:, :, None] * printed[:, None, :]
    order = nn.functional.softplus(patch[:, None, :] - patch[:, :, None]) * pairs
    order = order.sum((1, 2)) / pairs.sum((1, 2)).clamp(min=1)
    sides = [
        (nn.functional.softplus(sign * patch) * kind).sum(1) / kind.sum(1).clamp(min=1)
        for sign, kind in ((-1, painted), (1, printed))
    ]
    return ((order + 0.5 * sum(sides)) * both).sum() / both.sum().clamp(min=1)


def _masked(logit: Tensor, truth: Tensor, known: Tensor) -> Tensor:
    """Mean cross entropy where the truth is known, 0 where it nowhere is; without waiting for the device."""
    weight = known.to(logit.dtype)
    each = cross_entropy(logit, truth.clamp(min=0), reduction="none")
    return (each * weight).sum() / weight.sum().clamp(min=1)


def judged_batches(net: nn.Module, batches: Iterable[Batch]) -> Iterator[tuple[Batch, NetOutput]]:
    """Each batch with what the net says of it, nothing learnt."""
    net.eval()
    for batch in batches:
        with torch.no_grad():
            output = net(batch.patches, batch.zone, batch.resolution, batch.scale)
        yield batch, output


def evaluate_bags(net: nn.Module, bags: Sequence[Bag], device: torch.device, size: int = 16) -> list[NetOutput]:
    """Outputs for whole bags, a few at a time."""
    return [output for _, output in judged_batches(net, HeldOut(bags, device, size))]


def moment_of(own: Tensor, kept: Tensor, key: str) -> Tensor:
    """An optimiser's kept moment of the weights `own`. Raises ValueError naming `key` where it is of another shape."""
    if kept.shape != own.shape:  # torch does not look
        raise ValueError(f"{key} has the shape {tuple(kept.shape)}")
    # laid out as the weights are, which the optimiser's one pass takes for granted
    return torch.empty_like(own).copy_(kept)


def seed_device(device: torch.device, seed: int) -> None:
    """Seed torch's generator of one device only, so that nets on other devices go on undisturbed."""
    if device.type == "cuda":
        with torch.cuda.device(device):
            torch.cuda.manual_seed(seed)
    else:
        torch.manual_seed(seed)


class Trainer:
    """One net in one folder.

    initial : a net to begin with, any that takes and gives what StrokeNet does; None for a new one of `config.net`.
    device : None for that of the config. pictures_seed : of the pictures, where not the run's own seed (nets that
    differ in their seed may share pictures). ranks : which of several processes this is, of which the first alone
    writes. seconds : spent in steps so far.
    """

    def __init__(
        self,
        config: TrainConfig,
        folder: Path,
        *,
        initial: nn.Module | None = None,
        device: torch.device | None = None,
        pictures_seed: int | None = None,
        ranks: Ranks = ALONE,
    ) -> None:
        self.config, self.folder = config, folder
        own = ranks.device if device is None else device
        self.device, self.reason = pick_device(config.device) if own is None else (own, "asked for")
        self.pictures_seed = config.seed if pictures_seed is None else pictures_seed
        torch.manual_seed(config.seed)
        self.net: nn.Module = (initial or StrokeNet(config.net)).to(self.device)
        self.average = deepcopy(self.net)
        self.ranks = ranks
        compile_net(self.net, self.device)
        ranks.shared(self.net)
        ranks.rows(config.batch)  # refused now rather than when pictures are drawn
        self._silent = None if ranks.first else True  # None: where that is a terminal
        self._losses = compiled(losses, self.device)
        self.half = half_precision(self.device)
        self.optimizer = torch.optim.AdamW(
            self.net.parameters(), lr=config.rate, weight_decay=config.decay, betas=(0.9, 0.98),
            fused=self.device.type == "cuda",
        )  # fmt: skip
        # looked up once, not every step: all that loads weights writes into these tensors
        self._numbers, self._counts = self._followed(numbers=True), self._followed(numbers=False)
        self.epoch = 0
        self.step = 0
        self.best = math.inf
        self.seconds = 0.0

    # --- where a run is kept ---

    def start_folder(self) -> None:
        """Make the run's folder; refuses one that holds a run already. For the first rank."""
        if (self.folder / "config.json").exists():
            raise OutputError(f"{self.folder} holds a run already; give --resume {self.folder} or another --out")
        with said_in_words(self.folder):
            self.folder.mkdir(parents=True, exist_ok=True)
        about = {
            "config": to_record(self.config),
            "pictures_seed": self.pictures_seed,
            "renderer_version": RENDERER_VERSION,
            "versions": versions(),
        }
        self._keep_metrics()
        write_whole(self.folder / "config.json", json.dumps(about, indent=1).encode(), overwrite=True)

    def _keep_metrics(self) -> None:
        """Only the rows of epochs that the checkpoint holds: an epoch may be noted and then lost with its process."""
        path = self.folder / "metrics.csv"
        rows = []
        if self.epoch and path.is_file():
            with path.open(newline="") as file:
                whole = [row for row in csv.reader(file) if len(row) == len(COLUMNS)]  # one may have been cut short
            rows = [row for row in whole if row[0].isdecimal() and int(row[0]) <= self.epoch]
        write_whole(path, rows_text([COLUMNS, *rows]).encode(), overwrite=True)

    def save(self, name: str) -> None:
        """Net, averaged net and optimiser as safetensors, counters as JSON; one replaces the other only when whole."""
        tensors: dict[str, Tensor] = {}
        for part, module in (("net", self.net), ("average", self.average)):
            tensors |= {f"{part}.{key}": value for key, value in module.state_dict().items()}
        for index, state in self.optimizer.state_dict()["state"].items():
            tensors |= {f"optimizer.{index}.{key}": value for key, value in state.items()}
        tensors = {key: value.detach().cpu().contiguous().clone() for key, value in tensors.items()}
        counters = {"epoch": str(self.epoch), "step": str(self.step), "best": repr(self.best)}
        target = self.folder / f"{name}.safetensors"
        try:
            with whole_file(target) as file:
                file.write(save_tensors(tensors, metadata=counters))
        except OSError as error:
            raise OutputError(
                f"{target} cannot be written ({error.strerror}); make room, then go on with --resume {self.folder}"
            ) from error

    def _restore(self, path: Path) -> None:
        """Take over what `save` wrote. ParameterError for a file that is damaged or of another net."""
        try:
            with safe_open(path, framework="pt") as file:
                counters = file.metadata()
            tensors = load_file(path)
            for part, module in (("net", self.net), ("average", self.average)):
                module.load_state_dict({k[len(part) + 1 :]: v for k, v in tensors.items() if k.startswith(part + ".")})
            state = self.optimizer.state_dict()
            parameters = list(self.net.parameters())
            for key, value in tensors.items():
                if key.startswith("optimizer."):
                    _, index, name = key.split(".", 2)
                    if name != "step":
                        value = moment_of(parameters[int(index)], value, key)
                    state["state"].setdefault(int(index), {})[name] = value
            self.optimizer.load_state_dict(state)
            self.epoch, self.step = int(counters["epoch"]), int(counters["step"])
            self.best = float(counters["best"])
        except (SafetensorError, RuntimeError, ValueError, TypeError, LookupError, OSError) as error:
            reason = str(error).splitlines()[0] if str(error) else type(error).__name__
            raise ParameterError(
                f"--resume {self.folder}: {path.name} is damaged or of another net ({reason}); copy it again, or move "
                "it away to train from the start"
            ) from error

    @classmethod
    def resume(
        cls,
        folder: Path,
        *,
        epochs: int | None = None,
        device: str | None = None,
        initial: nn.Module | None = None,
        on: torch.device | None = None,
        ranks: Ranks = ALONE,
    ) -> Trainer:
        """Go on with the run in `folder` from its last checkpoint, or from the start if it has none yet.

        epochs : in all; another number than the run began with changes the learning rates still to come.
        initial : a net of the kind the run began with, where that was not of its config. on : the very device.
        Raises ParameterError without a run there, or one of another renderer, whose pictures cannot be drawn again.
        """
        described, last = folder / "config.json", folder / "last.safetensors"
        if not described.is_file():
            raise ParameterError(f"--resume {folder}: no run there; give the folder a run wrote")
        try:
            about = json.loads(described.read_text("utf-8"))
            about["config"], about["renderer_version"], about.get("pictures_seed")
        except (ValueError, LookupError, TypeError, AttributeError, RecursionError) as error:
            raise ParameterError(
                f"--resume {folder}: config.json is damaged; copy it again, or start a new run"
            ) from error
        if about["renderer_version"] != RENDERER_VERSION:
            raise ParameterError(
                f"--resume {folder}: begun with renderer {about['renderer_version']}, this is {RENDERER_VERSION}; "
                "start a new run"
            )
        config = from_record(TrainConfig, about["config"])
        config = replace(
            config,
            epochs=config.epochs if epochs is None else epochs,
            device=config.device if device is None else device,
        )
        seed = about.get("pictures_seed")
        trainer = cls(config, folder, initial=initial, device=on, pictures_seed=seed, ranks=ranks)
        if last.is_file():
            trainer._restore(last)
        if ranks.first:
            trainer._keep_metrics()
        return trainer

    # --- the work ---

    def run(self, supply: Supply, *, until: int | None = None, then: Callable[[], None] | None = None) -> None:
        """Train up to epoch `until` (or all), rendering the next epoch while the device works on this one.

        then : called once the pictures of all epochs have been asked for, to ask for what is wanted after them.
        """
        config = self.config
        last = min(until or config.epochs, config.epochs)
        if self.epoch >= last:
            return  # nothing to draw pictures for
        feed = Feed(supply, config, seed=self.pictures_seed, done=self.epoch, last=last)
        store = BagStore(self.device, config.window)
        for groups in feed.past():
            store.add(groups)
        validation = HeldOut(feed.validation(), self.device)
        while feed.left:
            groups, waited = feed.next()
            if feed.all_ordered and then is not None:
                then()
                then = None
            store.add(groups)
            self.learn(store, validation, waited)

    def learn(self, store: BagStore, validation: HeldOut, waited: float = 0.0) -> None:
        """One epoch: steps on the pictures in `store`, validation, a row in metrics.csv, checkpoints.

        waited : seconds the pictures came late, for the row.
        """
        began = time.monotonic()
        loss = self._train_epoch(store)
        self.seconds += time.monotonic() - began
        self.epoch += 1
        if not self.ranks.first:
            return
        figures = self.validate(validation)
        self._note(loss, figures, len(store), waited + time.monotonic() - began, waited)
        if figures[0] <= AS_GOOD * self.best:
            self.best = min(figures[0], self.best)
            self.save("best")
        self.save("last")

    def _train_epoch(self, store: BagStore) -> float:
        config = self.config
        seed_device(self.device, config.seed * 100_003 + self.epoch)
        rng = np.random.default_rng([config.seed, self.epoch, 5])
        self.net.train()
        total = torch.zeros((), device=self.device)
        rows = self.ranks.rows(config.batch)
        for _ in tqdm(range(config.steps), desc=f"epoch {self.epoch + 1}/{config.epochs}", disable=self._silent):
            for group in self.optimizer.param_groups:
                group["lr"] = self.rate_at(self.step)
            sharp = self.step < config.easy * config.epochs * config.steps
            batch = store.draw(config.batch, config.patches, rng=rng, sharp=sharp, rows=rows)
            with torch.autocast(self.device.type, torch.bfloat16, enabled=self.half):
                output = self.net(*batch.given(rows))
            output = self.ranks.together(output)
            loss = self._losses(output, batch)
            self.optimizer.zero_grad(set_to_none=True)
            loss.backward()  # type: ignore[no-untyped-call]
            self.ranks.average(self.net.parameters())
            nn.utils.clip_grad_norm_(self.net.parameters(), 2.0)
            self.optimizer.step()
            self._follow()
            total += loss.detach()
            self.step += 1
        return float(total) / config.steps

    def rate_at(self, step: int) -> float:
        """Learning rate: a linear rise, then half a cosine down to a fiftieth."""
        whole = self.config.epochs * self.config.steps
        rise = max(self.config.warmup * whole, 1.0)
        if step < rise:
            return self.config.rate * (step + 1) / rise
        done = min((step - rise) / max(whole - rise, 1.0), 1.0)
        return self.config.rate * (0.02 + 0.98 * 0.5 * (1 + math.cos(math.pi * done)))

    @torch.no_grad()
    def _follow(self) -> None:
        share = min(AVERAGE, self.step / (self.step + 10))
        follow = get_ema_multi_avg_fn(share)  # type: ignore[no-untyped-call]
        slow, fast = self._numbers
        follow(slow, fast, None)
        for count, counted in zip(*self._counts, strict=True):
            count.copy_(counted)

    def _followed(self, *, numbers: bool) -> tuple[list[Tensor], list[Tensor]]:
        """Tensors of the averaged net and those they follow: what it learnt, or what it counts."""
        slow, fast = (
            [tensor for tensor in module.state_dict().values() if tensor.is_floating_point() == numbers]
            for module in (self.average, self.net)
        )
        return slow, fast

    def validate(self, validation: HeldOut) -> tuple[float, float]:
        """(loss, AUC over dials) of the averaged net on the validation set."""
        loss, logits, labels = 0.0, [], []
        for batch, output in judged_batches(self.average, validation):
            loss += float(losses(output, batch)) * len(batch.dial)
            logits += output.dial.tolist()
            labels += batch.dial.tolist()
        truth = np.array(labels)
        pure = truth >= 0
        truth = truth[pure]
        area = auc(truth, np.array(logits)[pure]) if 0 < truth.sum() < len(truth) else math.nan
        return loss / max(len(labels), 1), area

    def _note(self, loss: float, figures: tuple[float, float], groups: int, seconds: float, waited: float) -> None:
        row = (self.epoch, self.step, f"{self.rate_at(self.step):.2e}", f"{loss:.4f}", f"{figures[0]:.4f}",
               f"{figures[1]:.4f}", groups, f"{seconds:.1f}", f"{waited:.1f}")  # fmt: skip
        path = self.folder / "metrics.csv"
        with said_in_words(path):
            append(path, rows_text([row]).encode())
        said = "%s: epoch %d/%d  loss %.4f  validation loss %.4f  AUC %.4f  (%.0f s, %.0f s of it waiting for pictures)"
        log.info(said, self.folder.name, self.epoch, self.config.epochs, loss, *figures, seconds, waited)


def versions() -> dict[str, str]:
    """Versions a run depends on."""
    import platform
    from importlib import metadata

    names = (
        "dialtell",
        "torch",
        "numpy",
        "opencv-python-headless",
        "Pillow",
        "albumentations",
        "safetensors",
    )
    found = {"python": platform.python_version()}
    for name in names:
        try:
            found[name] = metadata.version(name)
        except metadata.PackageNotFoundError:
            found[name] = "not installed as a package"
    return found
