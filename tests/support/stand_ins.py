"""Drawn stand-ins for a folder of real photographs and its list."""

from __future__ import annotations

from pathlib import Path

from PIL import Image

from dialtell.synth.scene import Range, render, sample_spec
from dialtell.synth.shared.terms import Process

SCOPE = Range(pixels_per_radius=(300.0, 300.0), tilt=5.0, wear=(0.0, 0.1))
HEAD = "file,truth,certainty,enamel,source"


def stand_ins(folder: Path, count: int, scope: Range = SCOPE, first: int = 0) -> tuple[Path, Path]:
    """A folder of drawn pictures, every other painted, and its list: pairs of one source."""
    photos = folder / "photos"
    photos.mkdir()
    rows = [HEAD]
    for index in range(first, first + count):
        process = Process.HAND if index % 2 else Process.TRANSFER
        Image.fromarray(render(sample_spec(11, index, scope, process))).save(photos / f"{index}.png")
        rows.append(f"{index}.png,{'painted' if index % 2 else 'printed'},high,enamel,dealer {index // 4}")
    table = folder / "list.csv"
    table.write_text("\n".join(rows) + "\n")
    return photos, table
