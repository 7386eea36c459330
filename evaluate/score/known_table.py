"""What is known of each of several photographs, from a labels table: size, outline, where 12 stands, close-ups."""

from __future__ import annotations

import logging
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from dialtell.model.reading.known import UNKNOWN, Known
from dialtell.synth.shared.files import content_hash
from dialtell.train.photographs.labels import LabelledPhoto, LabelsError, check_labels

log = logging.getLogger("dialtell.known")


@dataclass(frozen=True)
class KnownTable:
    """What is known of photographs, found by their place or, where they were moved, by their content.

    Called with a path it gives what the table says of it; `otherwise` fills what a row leaves open, and stands for
    photographs that have no row.
    """

    by_place: Mapping[Path, LabelledPhoto]
    by_content: Mapping[str, LabelledPhoto]
    otherwise: Known = UNKNOWN

    def __call__(self, path: Path) -> Known:
        row = self.by_place.get(path.resolve()) or self.by_content.get(content_hash(path))
        return self.otherwise if row is None else _filled(row, self.otherwise)


def read_known(table: Path, otherwise: Known) -> KnownTable:
    """A labels table read for what it knows of photographs; labels themselves are not needed.

    Rows with a fault are named on the log and left out. Raises LabelsError when it is no such table or has no sound
    row.
    """
    rows, problems = check_labels(table, required=("photo",))
    for problem in problems:
        log.warning("%s: %s", table, problem)
    if not rows:
        raise LabelsError(f"{table} has no row that can be used; give another table, or leave it out", problems)
    return KnownTable({row.path.resolve(): row for row in rows}, {row.sha256: row for row in rows}, otherwise)


def _filled(row: LabelledPhoto, otherwise: Known) -> Known:
    """What the row says, and of the rest what holds of every photograph."""
    said = row.known(max_pixels=otherwise.max_pixels)
    if said.part or said.outline is not None:  # then what is said of a close-up in general does not hold of it
        return said if said.diameter_mm is not None else replace(said, diameter_mm=otherwise.diameter_mm)
    return replace(
        otherwise,
        diameter_mm=otherwise.diameter_mm if said.diameter_mm is None else said.diameter_mm,
        twelve_deg=otherwise.twelve_deg if said.twelve_deg is None else said.twelve_deg,
        places=said.places or otherwise.places,
    )
