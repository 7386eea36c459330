"""Small runs of the commands that write much, by name."""

from __future__ import annotations

from dialtell.evaluate.kill_dials import Collection, Draw, Score
from dialtell.evaluate.kill_museum import Gather, Label
from dialtell.evaluate.kill_training import Train
from dialtell.evaluate.kill_workload import Workload

WORKLOADS: dict[str, type[Workload]] = {kind.name: kind for kind in (Draw, Score, Collection, Label, Gather, Train)}
