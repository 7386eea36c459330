"""Several nets trained side by side on one stream of pictures.

Rendering sets the pace, so nets added beside the first cost little: the net with three seeds (first weights and the
draw of batches), it half and one and a half times as wide and on half the pictures (does more of either help?), without
the spread over a zone (texture alone) and without the mean (repetition alone), and the baselines. All see the same
pictures; members of one seed also draw the same batches.
"""

from __future__ import annotations

import json
import threading
import time
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from importlib import metadata
from pathlib import Path
from typing import Any

import torch
from torch import nn

from dialtell.model.net.device import pick_device
from dialtell.model.net.net import NetConfig, StrokeNet, count_parameters
from dialtell.synth.scene import RENDERER_VERSION
from dialtell.synth.shared.errors import ParameterError, WeightsError
from dialtell.synth.shared.files import write_whole
from dialtell.synth.shared.record import from_record, to_record
from dialtell.train.bags.supply import Supply
from dialtell.train.run.config import TrainConfig
from dialtell.train.run.curriculum import Curriculum
from dialtell.train.run.feed import Feed
from dialtell.train.run.finish import calibrated, finish, order_held_out
from dialtell.train.run.loop import Trainer, log, versions
from dialtell.train.run.origin import file_origin, fill_from
from dialtell.train.run.store import BagStore, HeldOut
from dialtell.train.study.baselines import BASELINES, build_baseline, save_baseline

SCHEMA = "dialtell.study/1"
WEIGHTS_NAME = "strokes"


@dataclass(frozen=True)
class Member:
    """One net of a study.

    name : of its folder. kind : "strokes", "texture alone", "repetition alone" or a baseline. offset : added to the
    study's seed. cost : of a step, roughly, in those of the smallest. size : of its layers against the preset's.
    every : it sees one in so many of the pictures. begun : weights whose encoder it begins with, those of another net
    too; whole : with all of them.
    """

    name: str
    kind: str
    offset: int = 0
    cost: float = 4.0
    size: float = 1.0
    every: int = 1
    begun: Path | None = None
    whole: bool = False

    @property
    def baseline(self) -> bool:
        """Whether it is one of the two nets to compare with."""
        return self.kind in BASELINES

    def config(self, base: TrainConfig) -> TrainConfig:
        """The study's configuration as this member's own."""
        changes: dict[str, Any] = {"texture alone": {"spread": False}, "repetition alone": {"texture": False}}
        net = replace(base.net, **changes.get(self.kind, {}))
        origin = base.origin if self.begun is None else file_origin(self.begun, whole=self.whole)
        net = net if self.size == 1.0 else resized(net, self.size)
        return replace(base, seed=base.seed + self.offset, net=net, origin=origin)

    def net(self, config: TrainConfig) -> nn.Module:
        """A fresh net, its first weights from the config's seed."""
        torch.manual_seed(config.seed)
        if self.baseline:
            return build_baseline(self.kind)
        net = StrokeNet(config.net)
        if self.begun is not None:
            fill_from(net, self.begun, whole=self.whole)
        return net


def resized(net: NetConfig, size: float) -> NetConfig:
    """The net with layers `size` times as wide, in whole eights: its multiply-adds grow with the square."""
    a, b, c, d, code, beside = (max(8, 8 * round(size * width / 8)) for width in (*net.widths, net.code, net.beside))
    return replace(net, widths=(a, b, c, d), code=code, beside=beside)


MEMBERS = (
    Member("strokes-1", "strokes"),
    Member("strokes-2", "strokes", offset=1),
    Member("strokes-3", "strokes", offset=2),
    Member("half", "strokes", size=0.5, cost=3.0),
    Member("larger", "strokes", size=1.5, cost=7.0),
    Member("fewer", "strokes", every=2),
    Member("texture", "texture alone"),
    Member("repetition", "repetition alone"),
    Member("linear", "linear probe", cost=1.0),
    Member("resnet18", "resnet18", cost=12.0),
)


def chosen(names: Sequence[str] | None) -> tuple[Member, ...]:
    """Members by name, all for None."""
    known = {member.name: member for member in MEMBERS}
    if unknown := [name for name in names or () if name not in known]:
        raise ParameterError(f"members hold {unknown[0]!r}; give some of {', '.join(known)}")
    return MEMBERS if names is None else tuple(known[name] for name in dict.fromkeys(names))


# --- devices ---


def devices(name: str) -> list[torch.device]:
    """All CUDA devices where the device picked is one, else that device."""
    device, reason = pick_device(name)
    log.info("device %s: %s", device, reason)
    if device.type == "cuda":
        return [torch.device("cuda", index) for index in range(torch.cuda.device_count())]
    return [device]


def spread(members: Sequence[Member], count: int) -> list[list[Member]]:
    """Members over `count` devices: the dearest first, each to the device with least to do."""
    lanes: list[list[Member]] = [[] for _ in range(count)]
    for member in sorted(members, key=lambda m: -m.cost):
        min(lanes, key=lambda lane: sum(m.cost for m in lane)).append(member)
    return [lane for lane in lanes if lane]


@dataclass(eq=False)
class Lane:
    """One device with its members, one after the other on the same pictures.

    stores : what has been drawn so far, and of that one in `every` for members that see only so much. every : of each
    member by name.
    """

    device: torch.device
    trainers: dict[str, Trainer]
    stores: dict[int, BagStore]
    every: dict[str, int]
    validation: HeldOut | None = None

    def learn(self, groups: list[list[Any]], waited: float) -> None:
        """One epoch of every member."""
        assert self.validation is not None
        if self.device.type == "cuda":
            torch.cuda.set_device(self.device)  # of this thread
        for every, store in self.stores.items():
            store.add(groups[::every])
        for name, trainer in self.trainers.items():
            trainer.learn(self.stores[self.every[name]], self.validation, waited)


def _lane(device: torch.device, members: Sequence[Member], trainers: dict[str, Trainer], window: int) -> Lane:
    every = {member.name: member.every for member in members}
    return Lane(device, trainers, {share: BagStore(device, window) for share in set(every.values())}, every)


@dataclass(eq=False)
class BusyShare:
    """Share of the time a device had work, sampled twice a second where NVIDIA's library tells it."""

    lanes: Sequence[Lane]
    samples: dict[str, list[int]] = field(default_factory=dict)

    def __enter__(self) -> BusyShare:
        self._ended = threading.Event()
        self._thread = threading.Thread(target=self._watch, daemon=True)
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._ended.set()
        self._thread.join()

    def _watch(self) -> None:
        cuda = [lane.device for lane in self.lanes if lane.device.type == "cuda"]
        while cuda and not self._ended.wait(0.5):
            try:
                for device in cuda:
                    self.samples.setdefault(str(device), []).append(torch.cuda.utilization(device))
            except Exception as error:  # the library is missing or refuses: training goes on without the figure
                log.info("no device utilisation: %s", error)
                return

    def mean(self, device: torch.device) -> float | None:
        """Mean share of the time that the device was busy; None where nobody looked."""
        found = self.samples.get(str(device))
        return round(sum(found) / len(found) / 100, 3) if found else None


# --- the study ---


class Study:
    """A study in one folder, a member to a folder below it."""

    def __init__(self, config: TrainConfig, members: Sequence[Member], folder: Path) -> None:
        self.config, self.members, self.folder = config, tuple(members), folder
        self.lanes: list[Lane] = []
        self.seconds = 0.0  # from the first picture asked for to the end of the last epoch
        self.waited = 0.0
        self.busy: dict[str, float | None] = {}
        self.weights: dict[str, str] = {}

    def begin(self) -> None:
        """Fresh members in fresh folders; refuses a folder that holds a run."""
        self.lanes = [
            _lane(device, own, {m.name: self._trainer(m, device) for m in own}, self.config.window)
            for device, own in self._places()
        ]
        for trainer in self.trainers.values():
            trainer.start_folder()
        self.write()

    def _trainer(self, member: Member, device: torch.device) -> Trainer:
        config = member.config(self.config)
        return Trainer(
            config,
            self.folder / member.name,
            initial=member.net(config),
            device=device,
            pictures_seed=self.config.seed,
        )

    def _places(self) -> list[tuple[torch.device, list[Member]]]:
        found = devices(self.config.device)
        return list(zip(found, spread(self.members, len(found)), strict=False))

    @classmethod
    def load(cls, folder: Path, device: str | None = None) -> Study:
        """The study in `folder` as its last checkpoints left it, to be finished."""
        path = folder / "study.json"
        if not path.is_file():
            raise ParameterError(f"--finish {folder}: no study there; give the folder a study wrote")
        record = json.loads(path.read_text("utf-8"))
        config = from_record(TrainConfig, record["config"])
        config = replace(config, device=device or config.device)
        study = cls(config, chosen([member["name"] for member in record["members"]]), folder)
        study.seconds, study.waited = record["seconds"], record["waited_seconds"]
        study.busy = {name: entry["busy"] for name, entry in record["devices"].items()}
        for device_, own in study._places():
            trainers = {}
            for member in own:
                config = member.config(study.config)
                trainers[member.name] = Trainer.resume(folder / member.name, initial=member.net(config), on=device_)
            for member_ in record["members"]:
                if member_["name"] in trainers:
                    trainers[member_["name"]].seconds = member_["seconds"]
            study.lanes.append(_lane(device_, own, trainers, 1))
        return study

    @property
    def trainers(self) -> dict[str, Trainer]:
        """Of all members, in the members' order."""
        found = {name: trainer for lane in self.lanes for name, trainer in lane.trainers.items()}
        return {member.name: found[member.name] for member in self.members}

    def run(self, supply: Supply) -> None:
        """Train all members through all epochs; after each, every member's checkpoints and study.json are whole."""
        config, began = self.config, time.monotonic()
        feed = Feed(Curriculum(supply, config), config, seed=config.seed, done=0, last=config.epochs)
        with ThreadPoolExecutor(len(self.lanes)) as threads, BusyShare(self.lanes) as busy:
            bags = feed.validation()
            for lane in self.lanes:
                lane.validation = HeldOut(bags, lane.device)
            while feed.left:
                start = time.monotonic()
                groups, waited = feed.next()
                if feed.all_ordered:
                    order_held_out(supply, self.config)
                for done in [threads.submit(lane.learn, groups, waited) for lane in self.lanes]:
                    done.result()
                self.seconds, self.waited = time.monotonic() - began, feed.waited
                self.busy = {str(lane.device): busy.mean(lane.device) for lane in self.lanes}
                self.write()
                log.info(
                    "study: epoch %d/%d in %.1f s, %.1f s of it waiting for pictures; %.0f s in all",
                    feed.epoch, config.epochs, time.monotonic() - start, waited, self.seconds,
                )  # fmt: skip

    def finish(self, supply: Supply, *, command: str) -> None:
        """Calibrate and measure every member that has a checkpoint, devices side by side."""
        order_held_out(supply, self.config)
        kinds = {member.name: member for member in self.members}

        def of_lane(lane: Lane) -> None:
            if lane.device.type == "cuda":
                torch.cuda.set_device(lane.device)
            for name, trainer in lane.trainers.items():
                said = f"{command} (member {name}; pictures of seed {self.config.seed})"
                try:
                    if kinds[name].baseline:
                        path = finish_baseline(trainer, supply, kind=kinds[name].kind, command=said)
                    else:
                        version = metadata.version("dialtell")
                        path = finish(trainer, supply, name=WEIGHTS_NAME, version=version, command=said)
                except WeightsError as error:  # cut off before its first epoch: the others are still to be had
                    log.warning("%s", error)
                    continue
                self.weights[name] = str(path.relative_to(self.folder))

        with ThreadPoolExecutor(len(self.lanes)) as threads:
            for done in [threads.submit(of_lane, lane) for lane in self.lanes]:
                done.result()
        self.write()

    def record(self) -> dict[str, Any]:
        """What study.json holds."""
        return {
            "schema": SCHEMA,
            "renderer_version": RENDERER_VERSION,
            "versions": versions(),
            "config": to_record(self.config),
            "seconds": round(self.seconds, 1),
            "waited_seconds": round(self.waited, 1),
            "waited_share": round(self.waited / self.seconds, 3) if self.seconds else None,
            "devices": {str(lane.device): self._device(lane) for lane in self.lanes},
            "members": [self._member(member) for member in self.members],
        }

    def _device(self, lane: Lane) -> dict[str, Any]:
        """busy : share of the time a kernel ran (sampled), in_steps : share of the time spent in steps (clock)."""
        cuda = lane.device.type == "cuda"
        steps = sum(trainer.seconds for trainer in lane.trainers.values())
        return {
            "name": torch.cuda.get_device_name(lane.device) if cuda else lane.device.type,
            "members": list(lane.trainers),
            "busy": self.busy.get(str(lane.device)),
            "in_steps": round(steps / self.seconds, 3) if self.seconds else None,
            "most_memory_gib": round(torch.cuda.max_memory_allocated(lane.device) / 2**30, 2) if cuda else None,
        }

    def _member(self, member: Member) -> dict[str, Any]:
        trainer = self.trainers[member.name]
        used = trainer.step * self.config.batch
        rate = 1.0 / trainer.seconds if trainer.seconds else 0.0
        return {
            "name": member.name,
            "kind": member.kind,
            "seed": trainer.config.seed,
            "device": str(trainer.device),
            "parameters": count_parameters(trainer.net),
            "size": member.size,
            "one_picture_in": member.every,
            "epochs": trainer.epoch,
            "steps": trainer.step,
            "seconds": round(trainer.seconds, 2),
            "steps_per_second": round(trainer.step * rate, 2),
            "dials_per_second": round(used * rate, 1),
            "patches_per_second": round(used * self.config.patches * rate),
            "best_validation_loss": trainer.best if trainer.best < float("inf") else None,
            "weights": self.weights.get(member.name),
        }

    def write(self) -> None:
        """study.json, whole or not at all."""
        text = json.dumps(self.record(), indent=1, allow_nan=False)
        write_whole(self.folder / "study.json", text.encode(), overwrite=True)


def finish_baseline(trainer: Trainer, supply: Supply, *, kind: str, command: str) -> Path:
    """What `finish` does for StrokeNet, for a baseline: same sets, same calibration, same figures; no card."""
    version = metadata.version("dialtell")
    record, _ = calibrated(trainer, supply, name=trainer.folder.name, version=version, command=command)
    target = trainer.folder / "baseline.safetensors"
    save_baseline(target, kind, trainer.average, record)
    return target
