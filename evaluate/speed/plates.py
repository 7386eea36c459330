"""How long it takes to lay one dial on another."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from dialtell.evaluate.compare.registration import common_scale, register, sheet_of
from dialtell.evaluate.speed.clock import PRODUCT, median_of, product_seconds
from dialtell.evaluate.speed.row import SpeedRow
from dialtell.model.reading.steps import Reading
from dialtell.synth.scene import DialSpec, Range, generator, render, sample_photograph, sample_spec
from dialtell.synth.shared.terms import Process
from dialtell.train.bags.bags import read_spec

SEED = 6_000_101
PER_RADIUS = 440.0  # px per radius, 20 px/mm on an 18 size dial


def plates(n: int, device: str) -> list[SpeedRow]:
    """Two photographs of one print laid on each other, read beforehand."""
    scope = Range(
        pixels_per_radius=(0.95 * PER_RADIUS, 1.05 * PER_RADIUS), max_side=round(2.4 * PER_RADIUS), tilt=20.0,
        wear=(0.0, 0.3),
    )  # fmt: skip

    def reading_of(spec: DialSpec) -> Reading:
        return read_spec(spec, render(spec), rng=np.random.default_rng([spec.seed, spec.index]))

    pairs = []
    for index in range(n):
        first = sample_spec(SEED, index, scope, Process.TRANSFER)
        again = sample_photograph(rng=generator(SEED + 1, index), design=first.design, scope=scope)
        pairs.append((reading_of(first), reading_of(replace(first, **vars(again)))))

    def lay(index: int) -> None:
        first, second = pairs[index]
        scale = common_scale(first, second)
        register(sheet_of(first, scale), sheet_of(second, scale))

    product = product_seconds()
    seconds = median_of(lay, n)
    return [SpeedRow("comparing", "one dial laid on another, both read", n, "processor", seconds, PRODUCT, product)]
