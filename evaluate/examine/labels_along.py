"""What a person said and marked as a labels table: for `benchmark`, for `label` to go on with, for `train --photos`."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from dialtell.evaluate.examine.kept_files import KeptFiles
from dialtell.evaluate.examine.record import DIAL, PLACES, ExaminedDials
from dialtell.evaluate.label.photos import table_path
from dialtell.evaluate.label.sheet import WORDS, LabelSheet
from dialtell.model.reading.known import known_from
from dialtell.synth.shared.files import require_free, write_text

BASIS = "by eye"
_OPPOSED = {"painted", "printed"}


def labels_along(dials: ExaminedDials, placed: Callable[[str], str]) -> str:
    """A row for each photograph of a dial that is not set aside, as `labels.read_labels` reads them.

    placed : a photograph's path as the table shall have it, from its file. What is open of a dial is an empty cell.
    The program's calls are in none.
    """
    rows = []
    for row in dials.rows("SELECT * FROM examined_dial WHERE NOT aside ORDER BY id", []):
        said = _said(dials, row)
        rows += [
            said | _marked(photo) | {"photo": placed(photo["file"]), "sha256": photo["sha256"]}
            for photo in dials.photographs(row["id"])
        ]
    blank = dict.fromkeys(LabelSheet().columns, "")
    return LabelSheet(rows=[blank | row for row in rows]).text()


def write_labels(files: KeptFiles, target: Path, *, overwrite: bool) -> None:
    """Write them to a file, photographs by their way from there. Raises OutputError."""
    require_free(target, overwrite=overwrite)
    with files.opened() as dials:
        text = labels_along(dials, lambda file: table_path(files.photograph(file).resolve(), target))
    write_text(target, text, overwrite=overwrite)


def _said(dials: ExaminedDials, row: Mapping[str, Any]) -> dict[str, str]:
    """Cells of a dial. One that is said to be of one process and a zone of it of the other is mixed, as labels are."""
    opinions = dials.opinions(row["id"])
    labels = {zone: said["label"] for zone, said in opinions.items()}
    if any({label, labels.get(DIAL)} == _OPPOSED for label in labels.values()):
        labels[DIAL] = "mixed"
    size = row["size_mm"]
    return {
        "dial": row["uid"],
        "source": row["source"] or "",
        "size_mm": "" if size is None else f"{size:.6g}",
        "labeller": dials.marker(),
        "basis": BASIS if labels else "",
        "dial_process": labels.get(DIAL, ""),
        **{
            column: label
            for zone in PLACES
            if (label := labels.get(zone, "")) in WORDS.get(column := zone.replace(" ", "_"), ())
        },
        "labelled_at": max((said["noted_at"] for said in opinions.values()), default=""),
        "notes": row["notes"] or "",
    }


def _marked(photo: Mapping[str, Any]) -> dict[str, str]:
    """Cells of what was marked on a photograph."""
    known = known_from(photo["marked"])
    return {
        "outline": "" if known.outline is None else known.outline.text,
        "twelve_deg": "" if known.twelve_deg is None else f"{known.twelve_deg:.2f}",
        "places": "; ".join(place.text for place in known.places),
        "close_up": "yes" if known.part else "",
    }
