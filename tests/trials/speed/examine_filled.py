"""An examination of many dials, made without reading a photograph."""

from __future__ import annotations

import uuid
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from dialtell.evaluate.collection.file import now
from dialtell.evaluate.examine.fields import searched
from dialtell.evaluate.examine.kept_files import KeptFiles
from dialtell.evaluate.examine.listing import CALLS

BLIND = 11  # every so many dials' calls are kept back


def filled(folder: Path, count: int) -> KeptFiles:
    """`count` dials of invented makers, two photographs each that were looked at and not read."""
    files = KeptFiles(folder)
    files.prepare()
    rng = np.random.default_rng(1)
    covers = []
    for shade in range(60, 160, 5):
        image: np.ndarray[Any, np.dtype[np.uint8]] = np.full((240, 240, 3), shade, np.uint8)
        cv2.circle(image, (120, 120), 100, (235, 235, 230), -1, cv2.LINE_AA)
        covers.append(cv2.imencode(".jpg", image)[1].tobytes())
    with files.opened() as dials, dials._change() as base:
        for k in range(count):
            row: dict[str, Any] = {
                "maker": f"Invented {rng.integers(40)} & Sons", "serial": str(rng.integers(1_000_000)),
                "year": int(rng.integers(1780, 1930)) if k % 9 else None,
                "notes": "Hairline at 4" if k % 7 == 0 else None,
            }  # fmt: skip
            made = (uuid.uuid4().hex, now(), searched(row), k % BLIND == 0, *row.values())
            number = base.execute(
                "INSERT INTO examined_dial (uid, made_at, words, blind, maker, serial, year, notes) "
                "VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
                made,
            ).lastrowid
            for j in range(2):
                sha256 = f"{2 * k + j:064x}"
                base.execute(
                    "INSERT INTO examined_photo (sha256, dial, file, name, added_at, state, error, marked, thumbnail) "
                    "VALUES (?, ?, ?, 'a.jpg', ?, 'failed', '', '{}', ?)",
                    (sha256, number, f"{sha256}.jpg", now(), covers[k % len(covers)]),
                )
            for zone in ("dial", "numerals"):
                call = CALLS[int(rng.integers(len(CALLS)))]
                base.execute("INSERT INTO examined_standing VALUES (?, ?, ?)", (number, zone, call))
    return files
