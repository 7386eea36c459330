"""The page of two dials: side by side under linked pan and zoom, laid over each other, blinking, with what is left."""

from __future__ import annotations

import base64
import hashlib
import importlib.resources
from pathlib import Path
from typing import Any

import cv2
import jinja2
import numpy as np
from markupsafe import Markup
from numpy.typing import NDArray

from dialtell.evaluate.call_table import plain_name
from dialtell.evaluate.cautions import CAUTIONS
from dialtell.evaluate.compare import Comparison
from dialtell.evaluate.inspect_page import display
from dialtell.evaluate.output import require_free, write_text
from dialtell.evaluate.pages import pictures
from dialtell.evaluate.registration import EXTENT, Registration
from dialtell.evaluate.score import ScoredPhoto
from dialtell.model.geometry import rectify, sample_points

SIDE_PX = 1100  # of each straightened dial
SHOWN = 1.03  # dial radii from the centre
ARROWS = 20.0  # how many times longer the arrows are than the strays


def write_comparison(path: Path, compared: Comparison, *, overwrite: bool = False) -> None:
    """Write the page; raises OutputError."""
    require_free(path, overwrite=overwrite)
    write_text(path, page_text(compared), overwrite=overwrite)


def page_text(compared: Comparison) -> str:
    """The page."""
    document = compared.document
    first, second = straightened(compared)
    script = _own("compare.js")
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    template = jinja2.Environment(
        autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True, lstrip_blocks=True
    ).from_string(_own("compare.html"))
    dials = [
        {
            "name": plain_name(Path(dial["photo"]).name),
            "call": dial["call"],
            "support": plain_name(dial["support"]),
            "reason": plain_name(dial["reason"]),
            "uri": None if image is None else pictures.jpeg_uri(image),
        }
        for dial, image in zip(document["dials"], (first, second), strict=True)
    ]
    ratio = document["log10_lr"]
    return template.render(
        style=Markup(_own("inspection.css") + _own("compare.css")),
        script=Markup(script),
        script_hash=f"sha256-{digest}",
        dials=dials,
        finding=document["finding"],
        reason=document["reason"],
        process=document["process"],
        support=document["support"],
        ratio=None if ratio is None else f"{ratio:+.2f}".replace("-", "\u2212"),
        stray=document["stray"],
        zones=[
            {**row, "zone": row["zone"][:1].upper() + row["zone"][1:], "stray": _length(row)}
            for row in document["zones"]
        ],
        arrows=[] if compared.registration is None else arrows(compared.registration),
        times=int(ARROWS),
        side=SIDE_PX,
        cautions=CAUTIONS,
        model=f"{document['model']['name']} {document['model']['version']}",
        sha256=document["model"]["sha256"],
    )


def straightened(compared: Comparison) -> tuple[NDArray[np.uint8] | None, NDArray[np.uint8] | None]:
    """Both dials face on, (SIDE_PX, SIDE_PX, 3) sRGB, the second bent onto the first where they were laid together."""
    first, second, found = compared.first, compared.second, compared.registration
    if found is None or first.reading is None or second.reading is None:
        return _alone(first), _alone(second)
    axis = (np.arange(SIDE_PX) + 0.5) * (2 * SHOWN / SIDE_PX) - SHOWN
    grid = np.stack(np.meshgrid(axis, axis), axis=-1)
    # far outside the compared disc a polynomial runs away
    size = np.maximum(np.hypot(grid[..., 0], grid[..., 1]), 1e-9)[..., None]
    held = grid * np.minimum(1.0, EXTENT / size)
    placed = found.place(held) + (grid - held)
    bent = sample_points(second.photo.pixels, second.reading.geometry.to_photo(placed))
    return _alone(first), display(bent)


def _alone(scored: ScoredPhoto) -> NDArray[np.uint8] | None:
    if scored.reading is None:
        return None
    scale = SIDE_PX / (2 * SHOWN)
    image = rectify(scored.photo.pixels, scored.reading.geometry, scale, extent=SHOWN)
    return display(np.asarray(cv2.resize(image, (SIDE_PX, SIDE_PX)), np.float32))


def arrows(found: Registration) -> list[dict[str, Any]]:
    """Strays as lines in px of the straightened first dial, ARROWS times as long; far is true for the longest tenth."""
    scale = SIDE_PX / (2 * SHOWN)
    sites = found.sites[found.matched]
    left = found.residual
    size = np.hypot(*left.T)
    limit = float(np.quantile(size, 0.9)) if len(size) else 0.0
    c, s = np.cos(-found.turn), np.sin(-found.turn)
    left = left @ np.array([[c, s], [-s, c]])  # as they lie on the first dial
    lines = []
    for (x, y), (dx, dy), far in zip(sites, left, size > limit, strict=True):
        px, py = (x + SHOWN) * scale, (y + SHOWN) * scale
        lines.append({
            "x": round(px, 1), "y": round(py, 1), "u": round(px + ARROWS * dx * scale, 1),
            "v": round(py + ARROWS * dy * scale, 1), "far": bool(far),
        })  # fmt: skip
    return lines


def _length(row: dict[str, Any]) -> str:
    if row["stray_radii"] is None:
        return "too few places"
    return f"{row['stray_radii']:.5f} radii" if row["stray_mm"] is None else f"{row['stray_mm']:.3f} mm"


def _own(name: str) -> str:
    return importlib.resources.files("dialtell.evaluate.pages").joinpath(name).read_text(encoding="utf-8")
