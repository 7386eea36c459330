"""The disc of a drawn dial face on, with what every pixel of it shows: what settings are built about."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.synth.design.layout import lay_out
from dialtell.synth.faces.face_parts import Face
from dialtell.synth.making import coat_of
from dialtell.synth.photograph.body import BodySpec, paint_body
from dialtell.synth.photograph.patch import cover_patch, ring_slices
from dialtell.synth.photograph.view import ViewSpec, homography, to_px
from dialtell.synth.photograph.watch_hands import paint_hands
from dialtell.synth.photograph.wear import apply_wear
from dialtell.synth.scene import DialSpec, paint_strokes
from dialtell.synth.shared.terms import INK_SEEN, SEEN, ZONES, Process, Seen

Image = NDArray[np.float32]

_DARKENED = 0.9  # light left, at most, where a pixel is said to show ink
_SHADED = 0.8  # where it is said to lie in a hand's shadow
_WORN = 0.25  # change of light from which a pixel shows damage


def draw_face(spec: DialSpec, scale: int, *, hands: bool = True) -> Face:
    """Enamel, strokes, wear and hands of a dial seen from straight above; its own view, light and camera are left out.

    scale : px per dial radius. hands : whether the hands lie on it.
    """
    view = face_view(spec.design.radius_mm, scale)
    matrix = homography(view)
    surface = paint_body(spec.body, view)
    room = surface.dial_mask * (1.0 - surface.holes)
    seen = np.zeros(view.shape, np.uint8)
    seen[surface.dial_mask > 0.5] = SEEN.index(Seen.ENAMEL)
    _mark(seen, _steps(spec.body, view), Seen.STEP)
    bare = surface.reflectance.copy()
    colour = surface.reflectance
    zones = []
    items = lay_out(spec.design)
    for zone in ZONES:
        chosen = [item for item in items if item.zone is zone]
        if chosen:
            before = colour.copy()
            coat = coat_of(chosen, spec.design, spec.making, Process(spec.making.process_of(zone)))
            colour = paint_strokes([coat], spec, matrix, colour, room)
            zones.append((zone, _left(before, colour) < _DARKENED))
    ink = np.clip((1.0 - _left(bare, colour)) / 0.9, 0.0, 1.0).astype(np.float32)
    worn = apply_wear(spec.wear, view, colour, surface.dial_mask)
    change = worn.sum(axis=2) / np.maximum(colour.sum(axis=2), 1e-4) - 1.0
    _mark(seen, (np.abs(change) > _WORN) & (seen > 0), Seen.DAMAGE)
    for zone, laid in zones:
        _mark(seen, laid, INK_SEEN[zone])
    _mark(seen, surface.holes > 0.5, Seen.HOLE)
    if surface.metal is not None:  # gilt parts are no holes; nothing but hands lies on them
        seen[(surface.metal > 0.5) & (seen == SEEN.index(Seen.HOLE))] = SEEN.index(Seen.STEP)
    if hands:
        covered, metal = paint_hands(spec.hands, view, worn)
        _mark(seen, ((metal > 0.5) | (_left(worn, covered) < _SHADED)) & (seen > 0), Seen.HAND)
        worn = covered
    return Face(worn, seen, ink)


def face_view(radius_mm: float, scale: int) -> ViewSpec:
    """The view whose frame the disc just fills. scale : px per dial radius."""
    side = 2 * scale
    return ViewSpec(scale / radius_mm, 0.0, 0.0, 0.0, 0.0, side, side, scale, scale, radius_mm, "whole")


def bare_face(spec: DialSpec, scale: int) -> Image:
    """(F, F, 3) float32 linear reflectance of the same enamel without strokes, wear or hands."""
    return paint_body(spec.body, face_view(spec.design.radius_mm, scale)).reflectance


def resized(face: Face, scale: int) -> Face:
    """The same face at another, smaller scale; thin strokes stay in `seen`, at least a pixel wide."""
    side = 2 * scale
    old = len(face.seen)
    if side == old:
        return face
    width = max(round(old / side), 1)
    seen = face.seen if width == 1 else cv2.dilate(face.seen, np.ones((width, width), np.uint8))
    at = np.minimum(((np.arange(side) + 0.5) * old / side).astype(int), old - 1)
    return Face(
        np.asarray(cv2.resize(face.colour, (side, side), interpolation=cv2.INTER_AREA), np.float32),
        np.ascontiguousarray(seen[np.ix_(at, at)]),
        np.asarray(cv2.resize(face.ink, (side, side), interpolation=cv2.INTER_AREA), np.float32),
    )


def _left(before: Image, after: Image) -> Image:
    """Share of light left, (H, W), by the green channel and the darkest other, so that red and blue ink count."""
    red, green, blue = cv2.split(after / np.maximum(before, 1e-4))
    return np.asarray(np.minimum(np.minimum(red, green), blue), dtype=np.float32)


def _mark(seen: NDArray[np.uint8], where: NDArray[np.bool_], what: Seen) -> None:
    seen[where] = SEEN.index(what)


def _steps(body: BodySpec, view: ViewSpec) -> NDArray[np.bool_]:
    """Where the walls of sinks lie, at least 1.5 px wide."""
    matrix = homography(view)
    found = np.zeros(view.shape, np.bool_)
    for x, y, radius in (
        (0.0, 0.0, body.centre_radius_mm),
        (body.seconds_x_mm, body.seconds_y_mm, body.seconds_radius_mm),
    ):
        if radius > 0.0:
            half = max(body.sink_wall_mm, 1.5 / view.px_per_mm) / 2
            quads, _ = ring_slices(x, y, radius - half, radius + half, 120)
            patch = cover_patch(to_px(matrix, quads), view.shape)
            if patch is not None:
                found[patch.rows, patch.columns] |= patch.cover > 0.4
    return found
