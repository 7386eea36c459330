"""How long the page of a photograph takes beside its scoring, stage by stage."""

from __future__ import annotations

import tempfile
from importlib import resources
from pathlib import Path

from dialtell.evaluate.speed.clock import Stage, stage_medians
from dialtell.evaluate.speed.row import SpeedRow

SCORING = "scoring the same photograph"


def page(n: int, device: str) -> list[SpeedRow]:
    """The inspection page of a bundled example, with its own scoring in it."""
    import cv2

    from dialtell.evaluate.inspection import one_photo
    from dialtell.evaluate.score.score import score_photo
    from dialtell.model.net.device import one_thread
    from dialtell.model.net.weights_file import load_weights

    stages: tuple[Stage, ...] = (
        (one_photo, "score_photo", "scored"),
        (one_photo, "examine", "looked into"),
        (one_photo, "write_page", "written"),
    )
    cv2.setNumThreads(1)
    weights = load_weights(device=device)
    one_thread()
    with (
        resources.as_file(resources.files("dialtell.evaluate.examples") / "painted.jpg") as photo,
        tempfile.TemporaryDirectory() as folder,
    ):
        out = Path(folder) / "page.html"
        found = stage_medians(
            n, lambda: one_photo.inspect_photo(photo, out, weights, overwrite=True),
            lambda: score_photo(photo, weights), stages,
        )  # fmt: skip
    del found["first"]
    once = found.pop("beside")
    return [SpeedRow("a page", name, n, "processor", seconds, SCORING, once) for name, seconds in found.items()]
