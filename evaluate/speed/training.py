"""How long training takes: twins drawn, read and cut, and steps."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

from dialtell.evaluate.speed.clock import (
    PRODUCT,
    arithmetic_seconds,
    half_product_seconds,
    median_of,
    multiply_adds,
    product_seconds,
)
from dialtell.evaluate.speed.row import SpeedRow

if TYPE_CHECKING:
    from dialtell.train.bags.bags import Bag

SEED = 6_000_101
STEPS = 2  # training steps a time


def training(n: int, device: str) -> list[SpeedRow]:
    """Twins, and steps of the desk preset on the processor."""
    import torch

    torch.set_num_threads(1)
    from dialtell.train.bags.bags import twin_bags
    from dialtell.train.run.config import preset
    from dialtell.train.run.loop import Trainer
    from dialtell.train.run.store import BagStore

    config = preset("desk", device="cpu", steps=STEPS)
    groups: list[list[Bag]] = []
    product, pairs = product_seconds(), max(n, 3)  # of one alone nothing may be readable
    twins = median_of(lambda index: groups.append(twin_bags(SEED, index, config.scope)), pairs)
    store = BagStore(torch.device("cpu"), config.window)
    store.add(groups)
    with tempfile.TemporaryDirectory() as folder:
        trainer = Trainer(config, Path(folder))
        step = median_of(lambda _: trainer._train_epoch(store), n) / STEPS
        made = multiply_adds(lambda: trainer._train_epoch(store)) / STEPS
    least = arithmetic_seconds(made, half_product_seconds() if trainer.half else product)
    what = f"a step of {config.batch} x {config.patches} patches, desk net"
    how = f"its {made / 1e9:.2g} billion multiply-adds in {'bfloat16' if trainer.half else 'float32'}"
    return [
        SpeedRow("training", "twins drawn, read and cut", pairs, "processor", twins, PRODUCT, product),
        SpeedRow("training", what, n * STEPS, "processor", step, PRODUCT, product, how, least),
    ]
