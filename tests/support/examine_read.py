"""An examination's folder with a photograph that counts as read, made without the net."""

from __future__ import annotations

import io
from pathlib import Path

import cv2
from examine_asked import WEIGHTS, record

from dialtell.evaluate.examine.kept_files import KeptFiles


def read_already(folder: Path, image, marked, **fields) -> str:
    """One dial with one photograph `image` (H, W, 3), its outline as `marked` says; the photograph's sha256."""
    files = KeptFiles(folder)
    files.prepare()
    png = cv2.imencode(".png", image)[1].tobytes()
    sha256, file = files.keep(io.BytesIO(png), "drawn.png")
    small = cv2.imencode(".jpg", cv2.resize(image, (240, 240)))[1].tobytes()
    files.view(sha256).write_bytes(cv2.imencode(".jpg", image)[1].tobytes())
    with files.opened() as dials:
        dial = dials.new_dial(blind=False)
        dials.change_dial(dial, fields)
        dials.take(dial, sha256, file, "drawn.png")
        dials.looked(sha256, small, image.shape[1], image.shape[0])
        dials.mark(sha256, marked)
        known = dials.said(sha256)
        assert dials.keep_reading(sha256, known, files.photograph(file), "0" * 16, WEIGHTS, record(known))
    return sha256
