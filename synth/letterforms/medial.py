"""An outline as the strokes a painter would make of it: the chordal axis of its Delaunay triangles.

The outline is sampled densely and triangulated. Triangles inside it with two inner sides form strips, whose sides are
points of the outline; those with three are junctions. Strips that only fill a corner are given back to the end they
stand on; strips that run on into each other through a junction are one stroke. Each stroke's line runs midway between
the outline's two sides, and its width is measured across to them.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, replace
from itertools import pairwise

import cv2
import numpy as np
from scipy.ndimage import gaussian_filter1d, maximum_filter1d
from scipy.spatial import Delaunay

from dialtell.synth.letterforms.outline import PX, Outline
from dialtell.synth.strokes.raster import accumulate
from dialtell.synth.strokes.stroke import Floats

SPACING = 0.012  # glyph units between samples of the outline
STEP = 0.012  # glyph units between samples of a stroke
# a strip nowhere longer than this, in lengths of its chords, only fills a corner; tried in turn until GOOD
CORNER = (0.8, 0.56, 0.42, 1.4)
GOOD = 0.97  # likeness of strokes and outline
STRAIGHT_ON = np.deg2rad(40.0)  # strips that turn less run on through a junction
SHARP = np.deg2rad(50.0)  # a line that turns more within half its own width has a corner: two strokes
OUTER = 1  # sign of the area of an outer contour, as contourpy goes round
FLAT = 0.0004  # glyph units; lower triangles lie on a straight piece of the outline
ESCAPED = 1.25  # a width measured this much beyond the strip's own has run into another stroke


TIP, ROUND, SQUARE = -1, -2, -3  # where a strip leads, if to no junction: to its tip, into itself, to a square end


@dataclass(frozen=True, eq=False)
class Strip:
    """A stroke of an outline.

    path : (N, 2) glyph units. width : (N,) full width. closed : ends where it begins. blob : a dot.
    """

    path: Floats
    width: Floats
    closed: bool
    blob: bool = False


@dataclass(eq=False)
class _Branch:
    """A chain of chords from node to node: left, right (N, 2) ends of each chord; start, end: triangles
    of junctions, or TIP, ROUND, SQUARE."""

    left: Floats
    right: Floats
    start: int
    end: int
    deep: float = np.inf  # lengths of its first chord it stands out beyond it, if it ends free

    @property
    def middle(self) -> Floats:
        return 0.5 * (self.left + self.right)

    def turned(self) -> _Branch:
        return _Branch(self.right[::-1], self.left[::-1], self.end, self.start)


def strips(outline: Outline) -> list[Strip]:
    """The strokes of an outline; of the ways to tell corners from strokes, the one that covers it best."""
    net = _Net(outline)
    best: list[Strip] = []
    score = -1.0
    for corner in CORNER:
        found = net.strokes(corner)
        value = likeness(outline, found) - 0.001 * len(found)
        if value > score:
            best, score = found, value
        if score > GOOD:
            break
    return best


def slices(strip: Strip) -> tuple[Floats, Floats]:
    """Left and right edges (N, 2) of a strip, as paint.flatten lays it."""
    tangent = _tangents(strip.path)
    across = np.stack([-tangent[:, 1], tangent[:, 0]], axis=1) * (0.5 * strip.width)[:, None]
    return strip.path + across, strip.path - across


def likeness(outline: Outline, found: list[Strip]) -> float:
    """Area common to the outline and its strokes, as a share of what either covers."""
    if not found:
        return 0.0
    quads = np.concatenate([np.stack([a[:-1], a[1:], b[1:], b[:-1]], axis=1) for a, b in map(slices, found)])
    quads = (quads - outline.origin) * (PX / 2) + 0.25
    following = np.roll(quads, -1, axis=1)
    area = (quads[..., 0] * following[..., 1] - following[..., 0] * quads[..., 1]).sum(axis=1)
    edges = np.concatenate([quads, following], axis=2).reshape(-1, 4)
    high, wide = (side // 2 for side in outline.cover.shape)
    drawn = np.clip(accumulate(edges, np.repeat(np.sign(area), 4), (high, wide)), 0.0, 1.0)
    shape = outline.cover[: 2 * high, : 2 * wide].reshape(high, 2, wide, 2).mean(axis=(1, 3))
    return float(np.minimum(shape, drawn).sum() / max(np.maximum(shape, drawn).sum(), 1e-9))


class _Net:
    """The triangles inside an outline, and what lies next to what."""

    def __init__(self, outline: Outline) -> None:
        self.outline = outline
        rounds = [_evenly(contour) for contour in outline.contours if not _compact(contour)] or [np.empty((0, 2))]
        self.points = np.concatenate(rounds)
        simple = [_simplified(contour) for contour in outline.contours]
        begin, end = np.concatenate(simple), np.concatenate([np.roll(part, -1, axis=0) for part in simple])
        self.edges = begin.T.copy(), (end - begin).T.copy()
        if len(self.points) == 0:
            self.branches: list[_Branch] = []
            return
        first = np.cumsum([0, *[len(part) for part in rounds]])
        after = np.arange(len(self.points)) + 1
        after[first[1:] - 1] = first[:-1]
        mesh = Delaunay(self.points)
        corners, beside = mesh.simplices.astype(np.int64), mesh.neighbors.astype(np.int64)
        keep = (outline.inside(self.points[corners].mean(axis=1)) > 0.5) & (_slimness(self.points[corners]) > FLAT)
        number = np.full(len(corners) + 1, -1)
        number[:-1][keep] = np.arange(int(keep.sum()))
        self.corners = corners[keep]
        beside = number[beside[keep]]
        for k in range(3):  # a side that is a piece of the outline leads nowhere
            a, b = self.corners[:, (k + 1) % 3], self.corners[:, (k + 2) % 3]
            beside[:, k] = np.where((after[a] == b) | (after[b] == a), -1, beside[:, k])
        self.beside = beside
        self.degree = (beside >= 0).sum(axis=1)
        self.branches = self._branches()

    def _branches(self) -> list[_Branch]:
        """All chains of triangles between junctions and free ends, and rings."""
        corners, beside, degree = self.corners.tolist(), self.beside.tolist(), self.degree.tolist()
        used: set[tuple[int, int]] = set()
        result = []

        def follow(at: int, side: int, start: int) -> _Branch:
            chords: list[tuple[int, int]] = []
            while True:
                chords.append((corners[at][(side + 1) % 3], corners[at][(side + 2) % 3]))
                next_ = beside[at][side]
                back = beside[next_].index(at)
                used.add((at, side))
                used.add((next_, back))
                if degree[next_] != 2:
                    end = next_ if degree[next_] == 3 else TIP
                    tip = corners[next_][back]
                    break
                if next_ == start_triangle and start == ROUND:
                    end, tip = ROUND, -1
                    break
                side = next(k for k in range(3) if k != back and beside[next_][k] >= 0)
                at = next_
            pair = np.array(chords)
            branch = _Branch(self.points[pair[:, 0]], self.points[pair[:, 1]], start, end)
            if end == TIP:
                branch.deep = _stands_out(branch, self.points[tip])
            return branch

        for kinds in ((3,), (1,), (2,)):
            for at in range(len(corners)):
                if degree[at] not in kinds:
                    continue
                for side in range(3):
                    if beside[at][side] >= 0 and (at, side) not in used:
                        start_triangle = at
                        result.append(follow(at, side, {3: at, 1: TIP, 2: ROUND}[degree[at]]))
        return result

    def strokes(self, corner: float) -> list[Strip]:
        branches = _pruned([replace(branch) for branch in self.branches], corner)
        branches, place = _merged(branches, {at: self.points[self.corners[at]].mean(axis=0) for at in _nodes(branches)})
        result = []
        for line, chord, closed, ends in _lines(branches, place):
            strip = self._measured(line, chord, closed, ends)
            if strip is not None:
                result.append(strip)
        return result + self._blobs(result)

    def _blobs(self, found: list[Strip]) -> list[Strip]:
        """Parts of the shape with no strip at all (dots): one upright stroke each."""
        path = np.concatenate([strip.path for strip in found]) if found else np.empty((0, 2))
        result = []
        for contour in self.outline.contours:
            low, high = contour.min(axis=0), contour.max(axis=0)
            if _area(contour) * OUTER > 0 and not ((path > low) & (path < high)).all(axis=1).any():
                result.append(self._blob(contour))
        return result

    def _blob(self, contour: Floats) -> Strip:
        """A dot as one stroke from its top to its foot."""
        low, high = contour.min(axis=0), contour.max(axis=0)
        t = 0.999 * np.cos(np.linspace(0.0, np.pi, 17))
        line = 0.5 * (low + high) + 0.5 * (high - low) * np.stack([np.zeros(17), t], axis=1)
        left, right = self._across(line, np.tile([-1.0, 0.0], (17, 1)))
        left, right = (_held(reach, np.full(17, float(high[0] - low[0])), 0.0) for reach in (left, right))
        line[:, 0] += np.polyval(np.polyfit(line[3:-3, 1], 0.5 * (right - left)[3:-3], 1), line[:, 1])  # it may lean
        return Strip(line, left + right, False, blob=True)

    def _measured(self, line: Floats, chord: Floats, closed: bool, ends: tuple[float, float]) -> Strip | None:
        """The strip along a line: run on at its ends, its width measured across to the outline, recentred.

        line : sampled every STEP. chord : (N,) width of the strip about each point, to see where a measure escapes.
        ends : how far each end may run on to meet the outline or the stroke it joins.
        """
        broad = float(np.clip(0.2 * np.median(chord) / STEP, 1.0, 5.0))
        if len(line) < 2:
            return None
        for _ in range(2):
            moved, _ = self._sides(line, chord, closed, broad)
            line = _smooth(line + moved, closed, broad)
        before, after = np.empty((0, 2)), np.empty((0, 2))
        if not closed:
            before, after = (self._run_on(line, float(chord[end]), ends[end], end) for end in (0, -1))
        moved, width = self._sides(line, chord, closed, broad)
        line = line + moved
        if closed:
            line, width = np.vstack([line, line[:1]]), np.append(width, width[0])
        for piece, end in ((before, 0), (after, -1)):
            if len(piece):
                # straight on, so measured across the same way all along, and not recentred
                side = np.repeat(_normals(np.stack([line[end], piece[-1]]), False)[:1], len(piece), axis=0)
                bound = np.full(len(piece), 0.5 * ESCAPED * max(width[end], chord[end]) + 0.006)
                left, right = (_held(reach, bound, 0.5 * width[end]) for reach in self._across(piece, side))
                line = np.vstack([piece[::-1], line]) if end == 0 else np.vstack([line, piece])
                across = left + right
                width = np.append(across[::-1], width) if end == 0 else np.append(width, across)
        return Strip(line, np.maximum(width, 1e-4), closed)

    def _sides(self, line: Floats, chord: Floats, closed: bool, broad: float) -> tuple[Floats, Floats]:
        """How far each point (N, 2) is to be moved to lie midway, and the width (N,) there."""
        side = _normals(line, closed)
        left, right = (_held(reach, 0.5 * ESCAPED * chord + 0.006, 0.5 * chord) for reach in self._across(line, side))
        off = gaussian_filter1d(0.5 * (left - right), broad, mode="wrap" if closed else "nearest")
        return side * off[:, None], left + right

    def _run_on(self, line: Floats, chord: float, allowed: float, end: int) -> Floats:
        """Points (N, 2) straight on from an end of a line, to the outline or as far as allowed; none perhaps."""
        reach = min(max(2, int(0.5 * chord / STEP)), len(line) - 1)
        way = line[end] - (line[reach] if end == 0 else line[-1 - reach])
        way = way / max(float(np.hypot(*way)), 1e-9)
        far = float(self._across(line[end][None], way[None])[0][0])
        far = 0.999 * (far if far < 1.6 * chord + 0.02 else min(far, allowed))
        if not np.isfinite(far) or far < 1e-4:
            return np.empty((0, 2))
        return np.asarray(line[end] + np.linspace(0.0, far, max(2, int(np.ceil(2 * far / STEP))) + 1)[1:, None] * way)

    def _across(self, line: Floats, side: Floats) -> tuple[Floats, Floats]:
        """(N,) distances from each point to the outline, to its side and to the other; infinite where there is none."""
        along = self._crossings(line, side)
        left = np.where(along > 1e-6, along, np.inf).min(axis=1)
        right = -np.where(along < -1e-6, along, -np.inf).max(axis=1)
        return left, right

    def _crossings(self, start: Floats, way: Floats) -> Floats:
        """(N, E) where lines through each start along its way cross each edge of the outline; nan where they do not."""
        a, step = self.edges
        gap_x, gap_y = a[0] - start[:, :1], a[1] - start[:, 1:]
        with np.errstate(divide="ignore", invalid="ignore"):
            scale = 1.0 / (way[:, 1:] * step[0] - way[:, :1] * step[1])
            along = (gap_y * step[0] - gap_x * step[1]) * scale
            where = (way[:, :1] * gap_y - way[:, 1:] * gap_x) * scale
        return np.where((where >= -1e-9) & (where <= 1 + 1e-9), along, np.nan)


def _held(reach: Floats, bound: Floats, usual: Floats | float) -> Floats:
    """Half widths; where one runs into another stroke, what lies between its neighbours that do not."""
    good = reach <= bound
    if good.all():
        return reach
    if not good.any():
        return np.broadcast_to(np.asarray(usual, dtype=np.float64), reach.shape)
    at = np.arange(len(reach))
    return np.where(good, reach, np.interp(at, at[good], reach[good]))


def _compact(contour: Floats) -> bool:
    """Whether a contour is a dot: about as wide as high, and filled."""
    size = np.ptp(contour, axis=0)
    return bool(size.max() < min(0.4, 1.5 * size.min()) and _area(contour) * OUTER > 0.6 * size.prod())


def _area(contour: Floats) -> float:
    """Signed area within a closed contour."""
    x, y = contour.T
    return 0.5 * float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))


def _slimness(triangles: Floats) -> Floats:
    """(N,) height of triangles (N, 3, 2) over their longest side."""
    side = np.roll(triangles, -1, axis=1) - triangles
    area = np.abs(side[:, 0, 0] * side[:, 1, 1] - side[:, 0, 1] * side[:, 1, 0])
    return np.asarray(area / np.maximum(np.hypot(side[..., 0], side[..., 1]).max(axis=1), 1e-12))


def _simplified(contour: Floats) -> Floats:
    """The contour without the points that lie within 1/2500 of the line between others."""
    kept = cv2.approxPolyDP(contour.astype(np.float32)[:, None], 0.0004, True)
    return np.asarray(kept[:, 0], dtype=np.float64)


def _evenly(contour: Floats) -> Floats:
    """A closed contour sampled every SPACING."""
    ring = np.vstack([contour, contour[:1]])
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(ring, axis=0).T))])
    at = np.linspace(0.0, along[-1], max(12, round(along[-1] / SPACING)) + 1)[:-1]
    return np.stack([np.interp(at, along, ring[:, axis]) for axis in (0, 1)], axis=1)


def _stands_out(branch: _Branch, tip: Floats) -> float:
    """How far a strip that ends free reaches beyond any of its chords, in lengths of that chord, at most."""
    middle = branch.middle
    size = np.hypot(*(branch.left - branch.right).T)
    if len(middle) > 6 and float(np.hypot(*np.diff(middle, axis=0).T).sum()) > 3.0 * size[0]:
        return np.inf
    points = np.vstack([branch.left, branch.right, tip[None]])
    way = (branch.right - branch.left) / np.maximum(size, 1e-9)[:, None]
    gap = points[None] - branch.left[:, None]
    off = np.abs(gap[..., 0] * way[:, 1:] - gap[..., 1] * way[:, :1])
    count = len(middle)
    beyond = np.arange(len(points)) % count >= np.arange(count)[:, None]  # the chord's own points and those after it
    beyond[:, -1] = True
    return float((np.where(beyond, off, 0.0).max(axis=1) / np.maximum(size, 2 * SPACING)).max())


def _nodes(branches: list[_Branch]) -> set[int]:
    return {node for branch in branches for node in (branch.start, branch.end) if node >= 0}


def _pruned(branches: list[_Branch], corner: float) -> list[_Branch]:
    """Without the strips that only fill corners; what is left of a junction of two is one strip."""
    live = list(branches)
    while True:
        at_node: dict[int, list[_Branch]] = defaultdict(list)
        for branch in live:
            for node in {branch.start, branch.end} - {TIP, ROUND, SQUARE}:
                at_node[node].append(branch)
        ends = [b for b in live if b.start >= 0 > b.end and b.deep < corner and len(at_node[b.start]) > 1]
        if ends:
            least = min(ends, key=lambda b: b.deep)
            node = least.start
            # both corners of a square end go at once, else the stroke would run on into the second
            corners = [b for b in ends if b.start == node]
            if len(corners) != 2 or len(at_node[node]) != 3 or not _even_end(at_node[node], corners, node):
                corners = [least]
            for branch in corners:
                live.remove(branch)
        else:
            return live
        rest = [b for b in live if node in (b.start, b.end)]
        if len(rest) == 1:
            live.remove(rest[0])
            if rest[0].start == rest[0].end:
                live.append(_Branch(rest[0].left, rest[0].right, ROUND, ROUND))
                continue
            only = rest[0] if rest[0].end == node else rest[0].turned()
            joined = _Branch(only.left, only.right, only.start, SQUARE if len(corners) == 2 else TIP)
            tip = 0.5 * (least.left[-1] + least.right[-1])
        elif len(rest) == 2:
            one, two = rest
            live.remove(one)
            live.remove(two)
            one = one if one.end == node else one.turned()
            two = two if two.start == node else two.turned()
            sides = np.vstack([one.left, two.left]), np.vstack([one.right, two.right])
            joined = _Branch(*sides, one.start, two.end)
            if joined.start < 0 <= joined.end:
                joined = joined.turned()
            tip = joined.middle[-1]
        else:
            continue
        if joined.start >= 0 > joined.end:
            joined.deep = _stands_out(joined, tip)
        live.append(joined)


def _even_end(met: list[_Branch], corners: list[_Branch], node: int) -> bool:
    """Whether the third strip at a node comes there no narrower than it ends: a square end, not a ball."""
    trunk = next(branch for branch in met if branch not in corners)
    trunk = trunk if trunk.start == node else trunk.turned()
    middle = trunk.middle
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(middle, axis=0).T))])
    chord = np.hypot(*(trunk.left - trunk.right).T)
    return bool(chord[min(int(np.searchsorted(along, chord[0])), len(chord) - 1)] > 0.8 * chord[0])


def _merged(branches: list[_Branch], place: dict[int, Floats]) -> tuple[list[_Branch], dict[int, Floats]]:
    """Junctions joined by a strip shorter than it is wide are one."""
    name = {node: node for node in place}
    kept = []
    for branch in branches:
        if branch.start >= 0 and branch.end >= 0 and branch.start != branch.end:
            chord = np.hypot(*(branch.left - branch.right).T)
            line = np.vstack([place[branch.start], branch.middle, place[branch.end]])
            length = float(np.hypot(*np.diff(line, axis=0).T).sum())
            if length < 0.7 * float(np.median(chord)):
                old, new = name[branch.end], name[branch.start]
                name = {node: new if target == old else target for node, target in name.items()}
                continue
        kept.append(branch)
    for branch in kept:
        branch.start, branch.end = name.get(branch.start, branch.start), name.get(branch.end, branch.end)
    groups = defaultdict(list)
    for node, target in name.items():
        groups[target].append(place[node])
    return kept, {target: np.mean(spots, axis=0) for target, spots in groups.items()}


Line = tuple[Floats, Floats, bool, tuple[float, float]]


def _lines(branches: list[_Branch], place: dict[int, Floats]) -> list[Line]:
    """Lines of strokes: strips that run on into each other joined, lines with sharp corners cut."""
    ends: dict[int, list[tuple[int, int]]] = defaultdict(list)  # node: (branch, 0 its start or 1 its end)
    for index, branch in enumerate(branches):
        for which, node in enumerate((branch.start, branch.end)):
            if node >= 0:
                ends[node].append((index, which))
    partner: dict[tuple[int, int], tuple[int, int]] = {}
    for met in ends.values():
        pairs = []
        for i, one in enumerate(met):
            for two in met[i + 1 :]:
                (a, wide_a), (b, wide_b) = (_leaving(branches[index], which) for index, which in (one, two))
                bend = float(np.arccos(np.clip(-a @ b, -1.0, 1.0)))
                if bend < STRAIGHT_ON:
                    pairs.append((bend + 0.25 * abs(float(np.log(wide_a / wide_b))), one, two))
        for _, one, two in sorted(pairs):
            if one not in partner and two not in partner:
                partner[one], partner[two] = two, one
    result: list[Line] = []
    done: set[int] = set()
    starts = [(i, w) for i in range(len(branches)) for w in (0, 1) if (i, w) not in partner]
    for index, which in starts + [(i, 0) for i in range(len(branches))]:
        if index in done:
            continue
        left, right = [], []
        at, enter = index, which
        first = branches[index].start if which == 0 else branches[index].end
        closed = False
        while True:
            done.add(at)
            branch = branches[at] if enter == 0 else branches[at].turned()
            left.append(branch.left)
            right.append(branch.right)
            leave = (at, 1 - enter)
            last = branch.end
            if leave not in partner:
                break
            at, enter = partner[leave]
            if at in done:
                closed = True
                break
        sides = np.vstack(left), np.vstack(right)
        line = 0.5 * (sides[0] + sides[1])
        # a chord about a corner lies aslant: what counts is how wide the strip is across
        across = _normals(_smooth(line, False, 3.0), False) if len(line) > 2 else np.ones((len(line), 2))
        wide = np.abs(((sides[0] - sides[1]) * across).sum(axis=1))
        closed = closed or first == ROUND
        line, wide = _even_line(line, wide, closed)
        if closed and len(line) > 4:
            top = int(line[:, 1].argmax())  # a round letter is begun at its head
            line, wide = np.roll(line, -top, axis=0), np.roll(wide, -top)
            result.append((line, wide, True, (0.0, 0.0)))
            continue
        line, wide = _trimmed(line, wide, (first != SQUARE, last != SQUARE))
        room = tuple(
            np.inf if node < 0 else float(np.hypot(*(place[node] - line[end])))
            for node, end in ((first, 0), (last, -1))
        )
        result += _cut_at_corners(line, wide, (room[0], room[1]))
    return result


def _leaving(branch: _Branch, which: int) -> tuple[Floats, float]:
    """Unit direction a strip leaves a node in, seen over about its own width, and that width."""
    branch = branch if which == 0 else branch.turned()
    middle = branch.middle
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(middle, axis=0).T))])
    chord = np.hypot(*(branch.left - branch.right).T)
    wide = float(np.median(chord[: max(3, len(chord) // 2)]))
    near = min(0.4 * wide, 0.3 * along[-1])
    far = min(near + max(1.2 * wide, 0.03), along[-1])
    a, b = (np.array([np.interp(s, along, middle[:, axis]) for axis in (0, 1)]) for s in (near, far))
    if along[-1] < 1e-6:
        return np.array([1.0, 0.0]), max(wide, 1e-3)
    way = b - a
    return way / max(float(np.hypot(*way)), 1e-9), max(wide, 1e-3)


def _cut_at_corners(line: Floats, wide: Floats, ends: tuple[float, float]) -> list[Line]:
    count = len(line)
    if count < 8:
        return [(line, wide, False, ends)]
    span = np.clip((0.45 * maximum_filter1d(wide, 9) / STEP).astype(int), 3, max(3, count // 3))
    at = np.arange(count)
    before, after = line - line[np.maximum(at - span, 0)], line[np.minimum(at + span, count - 1)] - line
    size = np.hypot(*before.T) * np.hypot(*after.T)
    bend = np.arccos(np.clip((before * after).sum(axis=1) / np.maximum(size, 1e-12), -1, 1))
    bend = np.where((at >= span) & (at < count - span), bend, 0.0)
    cuts = []
    while bend.max() > SHARP:
        peak = int(bend.argmax())
        cuts.append(peak)
        bend[max(0, peak - 2 * span[peak]) : peak + 2 * span[peak] + 1] = 0.0
    if not cuts:
        return [(line, wide, False, ends)]
    bounds = [0, *sorted(cuts), count - 1]
    result: list[Line] = []
    for low, high in pairwise(bounds):
        # the bend itself belongs to neither: both are run on straight into it
        piece, across = _trimmed(line[low : high + 1], wide[low : high + 1], (low > 0, high < count - 1))
        room = (
            ends[0] if low == 0 else 1.5 * float(np.hypot(*(line[low] - piece[0]))),
            ends[1] if high == count - 1 else 1.5 * float(np.hypot(*(line[high] - piece[-1]))),
        )
        result.append((piece, across, False, room))
    return result


def _trimmed(line: Floats, wide: Floats, ends: tuple[bool, bool] = (True, True)) -> tuple[Floats, Floats]:
    """A line without its ends as far as the corners there bend it: about half its width, at most two fifths."""
    count = len(line)
    most = (2 * count) // 5
    cut = [0, 0]
    for which, use in enumerate(ends):
        across = wide if which == 0 else wide[::-1]
        far = np.flatnonzero(np.arange(count) * STEP >= 0.5 * across)
        cut[which] = min(int(far[0]) if len(far) else most, most) if use else 0
    return line[cut[0] : count - cut[1]], wide[cut[0] : count - cut[1]]


def _even_line(line: Floats, wide: Floats, closed: bool) -> tuple[Floats, Floats]:
    """A line and its widths sampled every STEP, the zigzag of its chords smoothed."""
    if closed:
        line, wide = np.vstack([line, line[:1]]), np.append(wide, wide[0])
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
    count = max(3, round(along[-1] / STEP) + 1)
    at = np.linspace(0.0, along[-1], count)
    if along[-1] <= 0:
        return line[:1], wide[:1]
    even = np.stack([np.interp(at, along, line[:, axis]) for axis in (0, 1)], axis=1)
    width = np.interp(at, along, wide)
    if closed:
        even, width = even[:-1], width[:-1]
    return _smooth(even, closed, 1.2), width


def _smooth(line: Floats, closed: bool, sigma: float) -> Floats:
    if closed:
        return np.asarray(gaussian_filter1d(line, sigma, axis=0, mode="wrap"))
    # about its ends a line goes on straight
    pad = 5
    head = 2 * line[0] - line[1 : pad + 1][::-1]
    tail = 2 * line[-1] - line[-pad - 1 : -1][::-1]
    long = np.vstack([head, line, tail])
    return np.asarray(gaussian_filter1d(long, sigma, axis=0, mode="nearest")[len(head) : len(head) + len(line)])


def _tangents(line: Floats, closed: bool = False) -> Floats:
    slope = np.roll(line, -1, axis=0) - np.roll(line, 1, axis=0) if closed else np.gradient(line, axis=0)
    return np.asarray(slope / np.maximum(np.hypot(*slope.T), 1e-12)[:, None])


def _normals(line: Floats, closed: bool) -> Floats:
    tangent = _tangents(line, closed)
    return np.stack([-tangent[:, 1], tangent[:, 0]], axis=1)
