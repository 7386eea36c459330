"""What measuring a photograph costs beside scoring it, and which measurements are made together."""

from __future__ import annotations

import statistics
import tempfile
import time
from pathlib import Path
from typing import TYPE_CHECKING

from dialtell.evaluate.measurements import dots, edges, ends, gathering, likeness, rings, ticks, tone, width
from dialtell.evaluate.speed.clock import Clock, Stage
from dialtell.evaluate.speed.scoring import draw_photograph

if TYPE_CHECKING:
    from dialtell.model.net.weights_file import Weights

_MODULES = {"tone": tone, "width": width, "likeness": likeness, "edges": edges, "ends": ends, "ticks": ticks,
            "rings": rings, "dots": dots}  # fmt: skip
KINDS = {kind: tuple(m.name for m in module.MEASURES) for kind, module in _MODULES.items()}
_STAGES: tuple[Stage, ...] = (
    (gathering, "lay_flat", "sheet"), (gathering, "find_strokes", "strokes"), (tone, "tone_findings", "tone"),
    (width, "width_findings", "width"), (likeness, "likeness_findings", "likeness"), (edges, "edge_findings", "edges"),
    (ends, "end_findings", "ends"), (ends, "guide_findings", "ends"), (rings, "guide_line_finding", "rings"),
    (ticks, "meeting_point", "ticks"), (ticks, "tick_findings", "ticks"), (rings, "ring_findings", "rings"),
    (dots, "dot_findings", "dots"),
)  # fmt: skip


def costs(weights: Weights, repeats: int) -> dict[str, float]:
    """Medians over a drawn 4000 x 3000 px photograph scored and measured in turn, after once for nothing.

    scoring_s : seconds of processor time. The rest times that: all measurements, the sheet and the strokes that nearly
    all rest on, and each kind.
    """
    from dialtell.evaluate.score.score import score_photo

    scoring, measuring, stages = [], [], []
    with tempfile.TemporaryDirectory(prefix="dialtell-") as folder:
        path = Path(folder) / "dial.jpg"
        draw_photograph(path)
        for _ in range(repeats + 1):
            start = time.process_time()
            reading = score_photo(path, weights).reading
            scoring.append(time.process_time() - start)
            if reading is None:
                return {}
            clock = Clock()
            with clock.watching(_STAGES):
                start = time.process_time()
                gathering.measure_reading(reading)
                measuring.append(time.process_time() - start)
            stages.append(clock.spent)
    whole = statistics.median(scoring[1:])
    parts = {stage: statistics.median(one.get(stage, 0.0) for one in stages[1:]) for _, _, stage in _STAGES}
    times = {"all measurements": statistics.median(measuring[1:])} | parts
    return {"scoring_s": round(whole, 3)} | {name: round(value / whole, 3) for name, value in times.items()}
