"""All that is measured, part by part, each in a process of its own so that none warms or burdens another."""

from __future__ import annotations

import os
import platform
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

from dialtell.evaluate.speed.drawing import drawing
from dialtell.evaluate.speed.page import page
from dialtell.evaluate.speed.plates import plates
from dialtell.evaluate.speed.row import SpeedRow
from dialtell.evaluate.speed.scoring import all_cores, scoring
from dialtell.evaluate.speed.start import start
from dialtell.evaluate.speed.training import training
from dialtell.synth.shared.workers import spawned

PARTS: dict[str, Callable[[int, str], list[SpeedRow]]] = {
    "start": start, "scoring": scoring, "cores": all_cores, "page": page, "drawing": drawing, "training": training,
    "comparing": plates,
}  # fmt: skip


def measure(parts: Sequence[str], n: int, device: str) -> Iterator[tuple[str, list[SpeedRow]]]:
    """Each part's name and rows. n : times each is measured. device : where the nets run that score, and the page's."""
    for name in parts:
        with spawned(1) as pool:
            yield name, pool.submit(PARTS[name], n, device).result()


def machine(device: str) -> dict[str, Any]:
    """Versions, machine, and how busy it is."""
    from dialtell.model.net.device import pick_device
    from dialtell.train.run.loop import versions

    kind, _ = pick_device(device)
    load = os.getloadavg()[0] if hasattr(os, "getloadavg") else None
    return {
        "versions": versions(), "processor": _processor(), "machine": platform.machine(), "cores": os.cpu_count(),
        "device": _graphics() if kind.type == "cuda" else kind.type, "load": load,
    }  # fmt: skip


def _graphics() -> str:
    import torch

    return torch.cuda.get_device_name()


def _processor() -> str:
    """Its name where Linux tells it."""
    told = Path("/proc/cpuinfo")
    lines = told.read_text("utf-8", "replace").splitlines() if told.is_file() else []
    names = (line.partition(":")[2].strip() for line in lines if line.startswith("model name"))
    return next(names, "") or platform.processor() or platform.machine()
