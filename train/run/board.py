"""TensorBoard beside metrics.csv, for whoever has it: an extra, never needed."""

from __future__ import annotations

import csv
import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from dialtell.synth.shared.errors import DialtellError
from dialtell.train.run.loop import Trainer
from dialtell.train.run.store import BagStore, HeldOut

SCALARS = ("loss", "validation_loss", "validation_auc", "rate", "seconds", "wait_seconds")


def open_board(folder: Path) -> Any:
    """A writer of event files in `folder`. Raises DialtellError saying how to install what is missing."""
    try:
        from torch.utils.tensorboard import SummaryWriter
    except ImportError as error:
        raise DialtellError(
            f"--tensorboard needs the package tensorboard ({error}); install it with: pip install tensorboard, or "
            "leave the flag out, metrics.csv has the same numbers"
        ) from None
    return SummaryWriter(str(folder))


def note(writer: Any, row: Mapping[str, str]) -> None:
    """One row of metrics.csv as scalars at its step; what is no number is left out."""
    for name in SCALARS:
        value = float(row[name])
        if math.isfinite(value):
            writer.add_scalar(name, value, int(row["step"]))
    writer.flush()


class BoardTrainer(Trainer):
    """A trainer that shows each epoch's row of metrics.csv to `writer` as well."""

    writer: Any = None

    def learn(self, store: BagStore, validation: HeldOut, waited: float = 0.0) -> None:
        """See Trainer."""
        super().learn(store, validation, waited)
        if self.writer is not None:
            with (self.folder / "metrics.csv").open(newline="") as file:
                *_, last = csv.DictReader(file)
            note(self.writer, last)
