"""Strokes set out for measuring, a print without faults, and what a measured picture of them shows."""

import numpy as np

from dialtell.synth.shared.terms import Kind, Zone
from dialtell.synth.strokes.hand_style import ORDINARY
from dialtell.synth.strokes.paint import lay
from dialtell.synth.strokes.photographic import Exposure
from dialtell.synth.strokes.plate import Plate
from dialtell.synth.strokes.skeleton import gather, tabulate
from dialtell.synth.strokes.stroke import Item, Stroke
from dialtell.synth.strokes.transfer import Pull

CLEAN_PULL = Pull(
    shift_mm=(0.0, 0.0), turn_deg=0.0, stretch=0.0, stretch_angle=0.0, slip_mm=(0.0, 0.0), slip_share=0.3,
    inking=0.0, pinholes=0.0, pinhole_mm=0.02, bare=(), tears=(), roughness_um=0.0, seed=1,
)  # fmt: skip
CLEAN_EXPOSURE = Exposure(
    grain_mm=0.02, edge_grains=0.0, spread_mm=0.0, specks=0.0, mottle=0.0, placing=CLEAN_PULL, seed=1
)
MACHINE_PLATE = Plate(engraver=ORDINARY, scatter=0.0, widen=0.0, punched=True, seed=1)
PAPER = 0.8  # reflectance


def upright_strokes(lengths, widths, gap=2.0):
    """Stems side by side, their feet on one line, each an item and a word of its own."""
    items = []
    for index, (length, width) in enumerate(zip(lengths, np.broadcast_to(widths, len(lengths)), strict=True)):
        x = gap * index
        stroke = Stroke(np.array([[x, -length], [x, 0.0]]), np.full(2, width), float(width), Kind.STEM, "I/stem")
        items.append(Item((stroke,), Zone.NUMERALS, (x, 0.0), 0.0, float(length), "I", 0, index))
    return items


def tick_ring(radius=20.0, count=60, length=1.2, width=0.12):
    """Ticks of a minute track."""
    items = []
    for index in range(count):
        angle = 2 * np.pi * index / count
        out = np.array([np.sin(angle), -np.cos(angle)])
        path = np.array([out * (radius - length / 2), out * (radius + length / 2)])
        stroke = Stroke(path, np.full(2, width), width, Kind.TICK, "track/minor")
        place = (float(radius * out[0]), float(radius * out[1]))
        items.append(Item((stroke,), Zone.MINUTE_TRACK, place, angle, length, "track/minor"))
    return items


def tables(items):
    return gather(items), tabulate(items)


def frame(low, high, px_per_mm):
    """Homography and shape of a square-on view of the box `low`..`high` mm."""
    size = np.ceil((np.array(high) - np.array(low)) * px_per_mm).astype(int)
    matrix = np.array([[px_per_mm, 0, -low[0] * px_per_mm], [0, px_per_mm, -low[1] * px_per_mm], [0, 0, 1.0]])
    return matrix, (int(size[1]), int(size[0]))


def reflectance(paint, matrix, shape, coat=0.0):
    share, density = lay(paint, matrix, shape, coat=coat)
    return PAPER * (1 - share + share * np.power(10.0, -density.astype(np.float64)))


def line_width(profile, px_per_mm, threshold):
    """Distance, mm, between the two places where a dark line's reflectance is Rmax - threshold (Rmax - Rmin).

    ISO 13660 puts line width at threshold 0.6 (s, review of Briggs, Klein, Tse).
    """
    level = profile.max() - threshold * (profile.max() - profile.min())
    dark = np.flatnonzero(profile < level)
    first, last = dark[0], dark[-1]
    before = (profile[first - 1] - level) / (profile[first - 1] - profile[first])
    after = (profile[last + 1] - level) / (profile[last + 1] - profile[last])
    return float(last + 1 - after - (first - 1 + before)) / px_per_mm


def centroids(paint):
    """(S, 2) mm, the middle of each stroke's samples."""
    numbers = np.unique(paint.stroke)
    middle = 0.5 * (paint.left + paint.right)
    return np.array([middle[paint.stroke == number].mean(axis=0) for number in numbers])


def after_alignment(points, onto):
    """RMS distance, mm, left after the similarity (shift, turn, scale) that brings points nearest to onto."""
    a, b = (p[:, 0] + 1j * p[:, 1] for p in (points, onto))
    design = np.stack([a, np.ones_like(a)], axis=1)
    solved = np.linalg.lstsq(design, b, rcond=None)[0]
    return float(np.sqrt(np.mean(np.abs(design @ solved - b) ** 2)))
