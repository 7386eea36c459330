"""One training of the reader as one commented dataclass; presets."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from dialtell.model.reader.net import ReaderConfig
from dialtell.synth.shared.errors import ParameterError, require_range

VALIDATION_SEED = 1_100_003  # sets no training seed reaches
FIGURES_SEED = 3_100_019


@dataclass(frozen=True)
class ReaderTraining:
    """Everything a run depends on but the machine's pace: pictures come as fast as they are drawn, and the newest
    `window` of them are trained on."""

    seed: int = 1
    epochs: int = 20  # of `steps` steps
    steps: int = 250
    batch: int = 64
    settings: int = 12  # pictures of each dial
    window: int = 20_000  # pictures kept
    first: int = 2_000  # pictures there must be before the first step
    rate: float = 2e-3  # peak learning rate of AdamW
    decay: float = 0.02
    warmup: float = 0.03  # share of all steps
    cooling: float = 0.35  # share of all steps, the last, over which the rate falls to nothing
    average: float = 0.998  # of the averaged net, a step
    validation: int = 240  # pictures
    figures: int = 300  # photographs the figures are from
    workers: int = 0  # drawing processes, 0: one per core
    device: str = "auto"
    net: ReaderConfig = field(default_factory=ReaderConfig)

    def __post_init__(self) -> None:
        require_range("seed", self.seed, 0, 1_000_000)
        for name in ("epochs", "steps", "batch", "settings", "window", "first", "validation", "figures"):
            require_range(name, getattr(self, name), 1, 10_000_000)
        require_range("rate", self.rate, 1e-7, 1.0)
        require_range("average", self.average, 0.0, 0.99999)
        require_range("workers", self.workers, 0, 1024)


PRESETS: dict[str, ReaderTraining] = {
    # two CPU cores, some hours: enough to see whether a change helps
    "desk": ReaderTraining(epochs=12, steps=120, batch=16, window=6_000, first=400, validation=120, figures=100),
    # one data-centre GPU with some 16 cores to draw for it, some 25 minutes
    "full": ReaderTraining(epochs=60, steps=400, batch=128, window=120_000, first=6_000, validation=600, figures=600),
    # seconds, for tests: shows that the line runs, teaches nothing
    "tiny": ReaderTraining(
        epochs=2, steps=2, batch=2, settings=2, window=8, first=4, validation=2, figures=2, workers=1,
        net=ReaderConfig(widths=(4, 4, 4, 4, 4), turn=4),
    ),
}  # fmt: skip


def preset(name: str, **changes: object) -> ReaderTraining:
    """A preset with some fields changed; None leaves a field alone."""
    if name not in PRESETS:
        raise ParameterError(f"preset is {name!r}; give one of {', '.join(PRESETS)}")
    return replace(PRESETS[name], **{k: v for k, v in changes.items() if v is not None})  # type: ignore[arg-type]
