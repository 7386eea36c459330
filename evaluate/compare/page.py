"""The page of two dials: side by side under linked pan and zoom, laid over each other, blinking, with what is left."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.evaluate.compare.compare import Comparison
from dialtell.evaluate.compare.findings import DIFFERENT
from dialtell.evaluate.compare.registration import EXTENT, Registration
from dialtell.evaluate.compare.zone_pairs import zone_pairs
from dialtell.evaluate.pages import pictures
from dialtell.evaluate.pages.templates import filled
from dialtell.evaluate.score.score import ScoredPhoto
from dialtell.evaluate.words.cautions import CAUTIONS
from dialtell.evaluate.words.plain import plain_name, zone_heading
from dialtell.evaluate.words.support import LEAST_SUPPORT, ratio_words
from dialtell.model.reading.geometry import rectify, sample_points
from dialtell.model.reading.photo import display
from dialtell.synth.shared.files import require_free, write_text

SIDE_PX = 1100  # of each straightened dial
SHOWN = 1.03  # dial radii from the centre
ARROWS = 20.0  # how many times longer the arrows are than the strays
BEYOND = 0.08  # dial radii about the places that hold a bend, in which it is trusted
LEAST_HULL = 3
GREY = 0.6  # linear light, where the second dial is not shown
Floats = NDArray[np.float64]


def write_comparison(path: Path, compared: Comparison, *, overwrite: bool = False) -> None:
    """Write the page; raises OutputError."""
    require_free(path, overwrite=overwrite)
    write_text(path, page_text(compared), overwrite=overwrite)


def page_text(compared: Comparison) -> str:
    """The page."""
    document = compared.document
    overlaid = compared.registration is not None and document["finding"] != DIFFERENT
    first, second = straightened(compared)
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
    ratio, found = document["log10_lr"], compared.registration
    return filled(
        "compare",
        dials=dials,
        finding=document["finding"],
        reason=document["reason"],
        process=document["process"],
        support=document["support"],
        weight=weight_words(ratio, capped=document["support"].startswith("at least")),
        part=document["part"],
        resolved=None if found is None else round(found.scale),
        share=None if not document["places"] else f"{document['matched']} of {document['places']}",
        start=start_view(compared),
        stray=document["stray"],
        overlaid=overlaid,
        told=document["log10_lr"] is not None,  # of different designs how far they stray says nothing
        zones=[
            {
                **row,
                "zone": zone_heading(row["zone"]),
                "stray": _length(row),
                "times": _times(row, document),
            }
            for row in document["zones"]
        ],
        pairs=_pairs(compared),
        in_mm=compared.first.known.diameter_mm is not None and compared.second.known.diameter_mm is not None,
        arrows=arrows(compared.registration) if overlaid and compared.registration is not None else [],
        times=int(ARROWS),
        side=SIDE_PX,
        cautions=CAUTIONS,
        model=f"{document['model']['name']} {document['model']['version']}",
        sha256=document["model"]["sha256"],
    )


def _pairs(compared: Comparison) -> list[dict[str, Any]]:
    """Each zone of both dials, as pictures of one scale."""
    return [
        {
            "zone": zone_heading(pair.zone),
            "dials": [
                {
                    "says": plain_name(says),
                    "cuts": [
                        {"uri": pictures.jpeg_uri(cut, 86), "width": cut.shape[1], "height": cut.shape[0]}
                        for cut in cuts
                    ],
                }
                for cuts, says in zip(pair.pictures, pair.says, strict=True)
            ],
        }
        for pair in zone_pairs(compared.first, compared.second)
    ]


def weight_words(log10_lr: float | None, *, capped: bool) -> str:
    """What the ratio says of the findings, in one sentence; "" without one."""
    if log10_lr is None:
        return ""
    if abs(log10_lr) < LEAST_SUPPORT:
        return "What is left is about equally probable if one plate made both and if they were drawn separately."
    first, second = ("one plate made both", "they were drawn separately")
    if log10_lr < 0:
        first, second = second, first
    times = f"{'at least' if capped else 'about'} {ratio_words(log10_lr)} times"
    return f"What is left is {times} more probable if {first} than if {second}."


def start_view(compared: Comparison) -> str:
    """Zoom and corner, shares of the side, at which the page opens: on the part that both show, else the whole."""
    found = compared.registration
    if found is None or not compared.document["part"] or not found.matched.any():
        return "1 0 0"
    low, high = (limit(found.sites[found.matched], axis=0) for limit in (np.min, np.max))
    side = min(float((high - low).max()) * 1.15 / (2 * SHOWN), 1.0)
    corner = ((low + high) / 2 + SHOWN) / (2 * SHOWN) - side / 2
    return " ".join(f"{value:.4f}" for value in (1 / side, *np.clip(corner, 0, 1 - side)))


def straightened(compared: Comparison) -> tuple[NDArray[np.uint8] | None, NDArray[np.uint8] | None]:
    """Both dials face on, (SIDE_PX, SIDE_PX, 3) sRGB, the second bent onto the first where they were laid together and
    are not of different designs."""
    first, second, found = compared.first, compared.second, compared.registration
    apart = compared.document["finding"] == DIFFERENT
    if found is None or apart or first.reading is None or second.reading is None:
        return _alone(first), _alone(second)
    grid = _grid()
    # far outside the compared disc a polynomial runs away
    size = np.maximum(np.hypot(grid[..., 0], grid[..., 1]), 1e-9)[..., None]
    held = grid * np.minimum(1.0, EXTENT / size)
    placed = found.place(held) + (grid - held)
    bent = sample_points(second.photo.pixels, second.reading.geometry.to_photo(placed))
    if compared.document["part"]:  # elsewhere nothing says how it lies
        bent = np.where(_about(found, grid)[..., None], bent, np.float32(GREY))
    return _alone(first), display(np.asarray(bent, np.float32))


def _about(found: Registration, grid: Floats) -> NDArray[np.bool_]:
    """Where on the first dial the bend is held by matches: their hull and a little beyond."""
    side = len(grid)
    sites = (found.sites[found.matched] + SHOWN) * (side / (2 * SHOWN))
    mask = np.zeros((side, side), np.uint8)
    if len(sites) >= LEAST_HULL:
        hull = cv2.convexHull(sites.astype(np.float32))
        cv2.fillConvexPoly(mask, np.round(hull).astype(np.int32), 1)
        reach = 2 * round(BEYOND * side / (2 * SHOWN)) + 1
        mask = np.asarray(cv2.dilate(mask, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (reach, reach))), np.uint8)
    return mask > 0


def _alone(scored: ScoredPhoto) -> NDArray[np.uint8] | None:
    if scored.reading is None:
        return None
    geometry, pixels = scored.reading.geometry, scored.photo.pixels
    image = np.asarray(
        cv2.resize(rectify(pixels, geometry, SIDE_PX / (2 * SHOWN), extent=SHOWN), (SIDE_PX, SIDE_PX)), np.float32
    )
    if scored.reading.close_up is not None:  # what lies outside the frame was not photographed
        place = geometry.to_photo(_grid())
        inside = np.all((place >= 0) & (place <= np.array(pixels.shape[1::-1])), axis=-1, keepdims=True)
        image = np.where(inside, image, np.float32(GREY))
    return display(image)


def _grid() -> Floats:
    """(SIDE_PX, SIDE_PX, 2) dial radii of the straightened dial's pixels."""
    axis = (np.arange(SIDE_PX) + 0.5) * (2 * SHOWN / SIDE_PX) - SHOWN
    return np.stack(np.meshgrid(axis, axis), axis=-1)


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


def _times(row: dict[str, Any], document: dict[str, Any]) -> str:
    """The zone's stray as so many times what two photographs of one print leave; "" without."""
    noise = document["stray"]["noise_radii"]
    return "" if row["stray_radii"] is None or not noise else f"{row['stray_radii'] / noise:.1f} times"


def _length(row: dict[str, Any]) -> str:
    if row["stray_radii"] is None:
        return "too few places"
    return f"{row['stray_radii']:.5f} radii" if row["stray_mm"] is None else f"{row['stray_mm']:.3f} mm"
