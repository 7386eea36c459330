"""manifest.jsonl: one line a picture with its spec and truth, enough to draw it again byte for byte.

A line (schema dialtell.dials/1) holds: file; seed, index, plate and version; process of the whole dial ("mixed" where
zones differ) and of each zone; height and width, px; sha256 of the pixels (H x W x 3 RGB bytes, row by row) and of
the file; geometry; masks, where drawn: a file and its sha256 for "strokes" and for each cue that occurs; spec.

geometry: homography (3 x 3, dial mm to photo px), dial_radius_mm, px_per_mm (at the dial centre), outline of the
enamel disc (center_px, semi-axes axes_px, angle_rad from +x to +y), and zones: for each zone a list of polygons, each a
list of rings (the outside, then holes) of [x, y] px, which may lie outside the frame; [] where the dial has no such
zone. Photo px are continuous: pixel (row, column) spans [column, column + 1) x [row, row + 1).

A mask is an 8-bit grey PNG beside the picture, NAME.LABEL.png: the share of each pixel covered, 255 for all of it.
The paint is as laid: before wear, holes of a film, hands and camera.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any, NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.synth.photograph.view import homography
from dialtell.synth.scene import RENDERER_VERSION, DialSpec, render
from dialtell.synth.sets.dial_set import DialSet, Picture
from dialtell.synth.shared.errors import OutputError, ParameterError
from dialtell.synth.shared.record import from_record, to_record
from dialtell.synth.truth import label_masks, outline, process_label, px_per_mm, zone_processes, zones_px

SCHEMA = "dialtell.dials/1"
MANIFEST = "manifest.jsonl"

Line = dict[str, Any]
Photo = NDArray[np.uint8]


class Drawn(NamedTuple):
    """A finished picture: its line, and the bytes of every file it names."""

    line: Line
    files: dict[str, bytes]


def sha256(data: bytes | memoryview) -> str:
    """SHA-256 in hexadecimal."""
    return hashlib.sha256(data).hexdigest()


def png(pixels: Photo) -> bytes:
    """(H, W, 3) RGB or (H, W) grey as a PNG file."""
    done, data = cv2.imencode(".png", pixels[..., ::-1] if pixels.ndim == 3 else pixels)
    if not done:
        raise OutputError(f"a picture of {pixels.shape[1]} x {pixels.shape[0]} px cannot be written as PNG")
    return data.tobytes()


def draw_picture(dials: DialSet, picture: Picture) -> Drawn:
    """Render one picture of a set, with its masks where the set has them."""
    spec = dials.spec_of(picture)
    return drawn(spec, plate=dials.plate_of(picture.index), masks=dials.masks)


def drawn(spec: DialSpec, *, plate: int, masks: bool) -> Drawn:
    """Render a spec and describe it. plate : number of the plate."""
    pixels = render(spec)
    name = f"{spec.index:06d}-{process_label(spec)}"
    files = {f"{name}.png": png(pixels)}
    line: Line = {
        "schema": SCHEMA,
        "file": f"{name}.png",
        "seed": spec.seed,
        "index": spec.index,
        "plate": plate,
        "version": spec.version,
        "process": process_label(spec),
        "processes": {str(zone): str(process) for zone, process in zone_processes(spec).items()},
        "height": pixels.shape[0],
        "width": pixels.shape[1],
        "sha256": {"pixels": sha256(pixels.tobytes()), "file": sha256(files[f"{name}.png"])},
        "geometry": geometry_record(spec),
    }
    if masks:
        line["masks"] = {}
        for label, share in label_masks(spec).items():
            file = f"{name}.{label}.png"
            files[file] = png(np.round(255 * share).astype(np.uint8))
            line["masks"][label] = {"file": file, "sha256": sha256(files[file])}
    line["spec"] = to_record(spec)
    return Drawn(line, files)


def geometry_record(spec: DialSpec) -> dict[str, Any]:
    """Where everything lies, as plain values; polygons to 0.01 px."""
    zones = {
        str(zone): [[np.round(ring, 2).tolist() for ring in polygon] for polygon in polygons]
        for zone, polygons in zones_px(spec).items()
    }
    return {
        "homography": homography(spec.view).tolist(),
        "dial_radius_mm": spec.view.dial_radius_mm,
        "px_per_mm": px_per_mm(spec.view),
        "outline": {
            key: list(value) if isinstance(value, tuple) else value for key, value in asdict(outline(spec.view)).items()
        },
        "zones": zones,
    }


def as_text(line: Line) -> str:
    """The line as it stands in the file, with its line break."""
    return json.dumps(line, ensure_ascii=False, allow_nan=False, separators=(",", ":")) + "\n"


def files_of(line: Line) -> dict[str, str]:
    """Every file a line names, with its sha256."""
    masks = line.get("masks", {}).values()
    return {line["file"]: line["sha256"]["file"]} | {mask["file"]: mask["sha256"] for mask in masks}


def spec_of_line(line: Mapping[str, Any]) -> DialSpec:
    """The spec a line carries; ParameterError when another schema or renderer wrote it."""
    if line.get("schema") != SCHEMA:
        raise ParameterError(f"schema is {line.get('schema')!r}; give a line of {SCHEMA}, as written by dialtell draw")
    file, version = line.get("file"), line.get("version")
    if version != RENDERER_VERSION:
        raise ParameterError(
            f"{file} was drawn by renderer version {version}, this is version {RENDERER_VERSION}; check it with the "
            "dialtell that drew it, or draw the set anew"
        )
    return from_record(DialSpec, line.get("spec"))


def faults_of(line: Line, folder: Path) -> list[str]:
    """Redraw a line and compare: what differs, in words; empty when everything is as recorded."""
    file, faults = line["file"], []
    try:
        spec = spec_of_line(line)
    except ParameterError as error:
        return [str(error) if file in str(error) else f"{file}: {error}"]
    fresh = drawn(spec, plate=line["plate"], masks="masks" in line).line
    if fresh["sha256"]["pixels"] != line["sha256"]["pixels"]:
        faults.append(f"{file}: the picture redrawn has other pixels")
    if fresh.get("masks") != line.get("masks"):
        faults.append(f"{file}: the masks redrawn differ")
    for name, expected in files_of(line).items():
        found = sha256_of_file(folder / name)
        if found is None:
            faults.append(f"{name}: missing")
        elif found != expected:
            faults.append(f"{name}: the file is not the one drawn")
    return faults


def sha256_of_file(path: Path) -> str | None:
    """sha256 of a file's bytes; None where there is no such file."""
    try:
        return sha256(path.read_bytes())
    except FileNotFoundError:
        return None


def read_manifest(path: Path) -> list[Line]:
    """All lines; ParameterError names the line that cannot be read. A last line cut short is an error here too."""
    try:
        text = path.read_text("utf-8")
    except OSError as error:
        raise ParameterError(f"{path} cannot be read ({error.strerror}); give a {MANIFEST}") from error
    except UnicodeDecodeError as error:
        raise ParameterError(f"{path} is not a text file; give a {MANIFEST}") from error
    lines = []
    for number, row in enumerate(text.removesuffix("\n").split("\n") if text else [], 1):
        try:
            line = json.loads(row)
            if any(Path(name).name != name for name in files_of(line)):
                raise ValueError("a file name leads out of the folder")
            line["index"], line["plate"], line["process"], line["sha256"]["pixels"], line["geometry"]["px_per_mm"]
        except (ValueError, KeyError, TypeError, AttributeError, RecursionError) as error:
            raise ParameterError(
                f"{path}, line {number}: not a line of {SCHEMA}; draw the set anew or give another file"
            ) from error
        lines.append(line)
    if not lines:
        raise ParameterError(f"{path} has no lines; give the {MANIFEST} of a drawn set")
    return lines
