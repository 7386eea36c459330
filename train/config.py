"""One training run as one commented dataclass; three presets."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from dialtell.model.net import NetConfig
from dialtell.synth.errors import ParameterError, require_range
from dialtell.synth.scene import Range

LARGEST_SEED = 1_000_000  # below the seeds of the held-out sets, see supply


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
    calibration: int = 300  # dials used to calibrate, and as many again to report figures
    workers: int = 0  # rendering processes, 0: one per core
    device: str = "auto"
    net: NetConfig = field(default_factory=NetConfig)
    scope: Range = field(default_factory=lambda: Range(pixels_per_radius=(170.0, 1000.0), mixed=0.12, part=0.1))

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
        if self.batch % 2:
            raise ParameterError(f"batch is {self.batch}; give an even number, dials are trained in twins")


PRESETS: dict[str, TrainConfig] = {
    # two CPU cores, under 45 minutes
    "desk": TrainConfig(epochs=14, pairs=150, steps=60, batch=12),
    # one data-centre GPU and its 16 cores, under 10 minutes
    "full": TrainConfig(
        epochs=20, pairs=500, steps=250, batch=96, patches=64, rate=2.5e-3, validation=300, calibration=1000
    ),
    # seconds, for tests: shows that the line runs, teaches nothing
    "tiny": TrainConfig(
        epochs=2, pairs=3, steps=2, batch=4, patches=16, validation=8, calibration=8, workers=1,
        net=NetConfig(widths=(8, 8, 8, 16), code=16), scope=Range(max_side=420, pixels_per_radius=(120, 180)),
    ),
}  # fmt: skip


def preset(name: str, **changes: object) -> TrainConfig:
    """A preset with some fields changed; None leaves a field alone."""
    if name not in PRESETS:
        raise ParameterError(f"preset is {name!r}; give one of {', '.join(PRESETS)}")
    return replace(PRESETS[name], **{k: v for k, v in changes.items() if v is not None})  # type: ignore[arg-type]
