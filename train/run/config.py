"""One training run as one commented dataclass; three presets."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from dialtell.model.net.net import NetConfig
from dialtell.synth.scene import Range
from dialtell.synth.shared.errors import ParameterError, require_range
from dialtell.train.run.holdout import TRAINING

LARGEST_SEED = 1_000_000  # below the seeds of the held-out sets, see supply


# what training draws from: all but what is held out, plates up to a little more uneven than a good hand, no picture on
# film; of pictures taken from near one in three resolves what patches of larger scales show, and few others do
SCOPE = Range(pixels_per_radius=(170.0, 1000.0), mixed=0.12, part=0.15, near=0.25, scatter=(0.0, 1.15),
              jitter_spread=0.18, film=0.0, variety=TRAINING)  # fmt: skip


@dataclass(frozen=True)
class Origin:
    """Trained weights a run begins with: their name and version, sha256 of their numbers, and the renderer that drew
    the dials they were trained on."""

    name: str
    version: str
    sha256: str
    renderer_version: str


@dataclass(frozen=True)
class TrainConfig:
    """Everything a run depends on.

    Pictures come in twins: one design, view and camera under both processes, so that nothing else can tell them
    apart. Epoch e renders pairs e * pairs .. (e + 1) * pairs of set `seed` and trains on the newest `window` epochs.
    """

    seed: int = 1
    epochs: int = 12
    pairs: int = 150  # twins rendered anew each epoch
    window: int = 50  # epochs of pictures kept for training
    steps: int = 60  # optimiser steps an epoch
    batch: int = 12  # dials a step, an even number
    easy: float = 0.1  # share of all steps, the first, that see sharp dials only
    patches: int = 48  # patches drawn from a dial each time it is used
    rate: float = 2e-3  # peak learning rate of AdamW
    decay: float = 0.03  # weight decay
    warmup: float = 0.05  # share of all steps over which the rate rises
    validation: int = 160  # dials of the validation set, drawn from `scope` with another seed
    calibration: int = 300  # dials the figures are from; twice as many of what training never saw calibrate
    workers: int = 0  # rendering processes, 0: one per core
    device: str = "auto"
    net: NetConfig = field(default_factory=NetConfig)
    scope: Range = field(default_factory=lambda: SCOPE)
    start: Range | None = None  # easier pictures to begin with, None: those of `scope` from the first (see curriculum)
    start_share: float = 0.0  # share of all epochs, the first, whose pictures come from `start`
    widen_share: float = 0.0  # share of all epochs, the next, over which they widen to `scope`
    origin: Origin | None = None  # weights it begins with, None: from nothing

    def __post_init__(self) -> None:
        require_range("seed", self.seed, 0, LARGEST_SEED)
        require_range("epochs", self.epochs, 1, 100_000)
        require_range("pairs", self.pairs, 1, 1_000_000)
        require_range("window", self.window, 1, 100_000)
        require_range("steps", self.steps, 1, 1_000_000)
        require_range("batch", self.batch, 2, 4096)
        require_range("patches", self.patches, 4, 512)
        require_range("validation", self.validation, 8, 100_000)
        require_range("calibration", self.calibration, 8, 100_000)
        require_range("easy", self.easy, 0.0, 1.0)
        require_range("rate", self.rate, 1e-7, 1.0)
        require_range("decay", self.decay, 0.0, 1.0)
        require_range("warmup", self.warmup, 0.0, 1.0)
        require_range("workers", self.workers, 0, 1024)
        require_range("start_share", self.start_share, 0.0, 1.0)
        require_range("widen_share", self.widen_share, 0.0, 1.0 - self.start_share)
        if self.batch % 2:
            raise ParameterError(f"batch is {self.batch}; give an even number, dials are trained in twins")


# clumsy hands and machine-cut plates, seen sharp, square-on, clean and bare of watch hands
EASY = Range(
    pixels_per_radius=(480.0, 600.0), max_side=1280, steadiness=(0.0, 0.3), jitter=1.8, scatter=(0.0, 0.2),
    wear=(0.0, 0.05), hands_off=1.0, tilt=6.0, film=0.0, variety=TRAINING,
)  # fmt: skip

PRESETS: dict[str, TrainConfig] = {
    # two CPU cores, under 45 minutes: a narrower net, and an easy start without which so few patches teach nothing
    "desk": TrainConfig(
        epochs=16, pairs=75, steps=280, batch=24, patches=20, rate=3e-3, easy=0.0, validation=120,
        net=NetConfig(widths=(8, 16, 32, 64), code=64), start=EASY, start_share=0.12, widen_share=0.38,
    ),
    # one data-centre GPU with some 30 cores to draw for it, some 22 minutes, as the shipped weights were trained
    "full": TrainConfig(
        epochs=40, pairs=640, steps=700, batch=96, patches=136, rate=3e-3, validation=300, calibration=1000,
        net=NetConfig(code=128, beside=128),
    ),
    # seconds, for tests: shows that the line runs, teaches nothing
    "tiny": TrainConfig(
        epochs=2, pairs=3, steps=2, batch=4, patches=16, validation=8, calibration=8, workers=1,
        net=NetConfig(widths=(8, 8, 8, 16), code=16),
        scope=Range(max_side=420, pixels_per_radius=(120, 180)),
    ),
}  # fmt: skip


def preset(name: str, **changes: object) -> TrainConfig:
    """A preset with some fields changed; None leaves a field alone."""
    if name not in PRESETS:
        raise ParameterError(f"preset is {name!r}; give one of {', '.join(PRESETS)}")
    return replace(PRESETS[name], **{k: v for k, v in changes.items() if v is not None})  # type: ignore[arg-type]
