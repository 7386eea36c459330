"""Small runs of the commands that write much, by name."""

from __future__ import annotations

from trials.kills.dials import Collection, Draw, Score
from trials.kills.museum import Gather, Label
from trials.kills.training import Train
from trials.kills.workload import Workload

WORKLOADS: dict[str, type[Workload]] = {kind.name: kind for kind in (Draw, Score, Collection, Label, Gather, Train)}
