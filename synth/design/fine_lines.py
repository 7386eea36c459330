"""Fine work of the earlier dials: long, close Roman figures with hair-thin bars, and tracks of hairlines.

Both are drawn for the design, before it is known who lays it: no process has them more often. What is fine about the
figures says nothing about the track. Ranges are judgement, from looking at dials.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from dialtell.synth.design.design import Chapter, DialDesign, Track
from dialtell.synth.design.fitting import inside_track, is_free, lines_within, room_inside, tallest, within
from dialtell.synth.letterforms.families import PREFIX
from dialtell.synth.letterforms.glyph import letterform

LONG = 0.8  # share of dials with Roman hours whose figures are long and close (those of a font less so)
HAIRLINES = 0.4  # share of tracks drawn in hairlines
NARROW = (0.42, 0.85)  # of the letterform's own width
FONT_NARROW = 0.4  # power of that in a font, whose serifs would become knobs: 0.7..0.94
BLACK = (0.38, 0.66)  # of the way from one stem to the next that the stem takes up
HAIR_MM = (0.025, 0.07)  # thin limbs and bars, on a watch
TALL = (0.22, 0.36)  # of the figures, dial radii
INNERMOST = 0.36  # dial radii within which no figure reaches
RING_MM, TICK_MM = (0.03, 0.08), (0.03, 0.1)  # on a watch
DEEP = (0.035, 0.075)  # of a track between its rings, dial radii
RAILWAY = 0.75  # share of those tracks that have both rings, and as many whose ticks all reach from one to the other
LEAST_GAP = 0.008  # dial radii between the figures and the track


def with_fine_lines(design: DialDesign, *, rng: np.random.Generator) -> DialDesign:
    """The design with long figures, hairline tracks, both or neither."""
    return _long_figures(_hairline_tracks(design, rng), rng)


def _between(rng: np.random.Generator, bounds: tuple[float, float]) -> float:
    """Log-uniform."""
    return float(np.exp(rng.uniform(*np.log(bounds))))


def _scale(design: DialDesign) -> float:
    """By how much lines are broader than on a watch."""
    return float((design.radius_mm / 22.0) ** 0.8)


def _hairline_tracks(design: DialDesign, rng: np.random.Generator) -> DialDesign:
    scale = _scale(design)

    def fine(track: Track) -> Track:
        wanted, ring, tick = rng.random(), _between(rng, RING_MM) * scale, _between(rng, TICK_MM) * scale
        heavy = max(float(rng.uniform(0.06, 0.25)) * scale, 1.1 * tick)
        return replace(track, ring_mm=ring, tick_mm=tick, heavy_mm=heavy) if wanted < HAIRLINES else track

    main = design.track
    thinned = replace(
        design,
        track=main and fine(main),
        subdials=tuple(replace(dial, track=fine(dial.track)) for dial in design.subdials),
        further_tracks=tuple(fine(track) for track in design.further_tracks),
    )
    both, whole = rng.random(2) < RAILWAY
    deep = float(rng.uniform(*DEEP))
    track = thinned.track
    if track is None or track is main or main is None or track.hour_bars or design.further_tracks:
        return thinned
    if not is_free(design):
        return thinned
    return _railway(thinned, track, both=both, whole=whole, deep=deep)


def _railway(design: DialDesign, track: Track, *, both: bool, whole: bool, deep: float) -> DialDesign:
    """The track as deep as that where it was less, and what lies inside it moved in."""
    more = max(deep - (track.outer - track.inner), 0.0)
    figures_at = track.figures_at - (more if track.figures_at < track.inner else 0.0)
    railway = replace(
        track, inner=track.inner - more, figures_at=figures_at, rings=(True, True) if both else track.rings,
        short=1.0 if whole else track.short,
    )  # fmt: skip
    moved = replace(design, track=railway)
    reach = inside_track(moved) - LEAST_GAP
    if design.chapter is not None:
        reach = min(reach, design.chapter.outer - more)
    return within(moved, reach)


def _long_figures(design: DialDesign, rng: np.random.Generator) -> DialDesign:
    wanted, narrow, hair = rng.random(), _between(rng, NARROW), _between(rng, HAIR_MM) * _scale(design)
    black, tall = float(rng.uniform(*BLACK)), float(rng.uniform(*TALL))
    chapter = design.chapter
    if chapter is None or not chapter.bent or wanted >= LONG:
        return design
    font = chapter.letterform.startswith(PREFIX)
    close = replace(chapter, narrow=narrow**FONT_NARROW if font else narrow)
    tall *= 1.0 if chapter.hours == 12 else 0.75
    if is_free(design):
        close = replace(close, height=max(chapter.height, min(tall, chapter.outer - INNERMOST)))
    close = replace(close, height=min(close.height, tallest(close)))
    # a font's strokes are all of one weight with its serifs, which its figures keep
    if font:
        thick, thin = close.narrow * chapter.thick, min(chapter.thin, 0.5 * close.narrow * chapter.thick)
    else:
        thick, thin = _widths(close, black, hair / (close.height * design.radius_mm))
    result = replace(design, chapter=replace(close, thick=thick, thin=thin))
    return replace(result, signature=lines_within(result.signature, room_inside(result)))


def _widths(chapter: Chapter, black: float, hair: float) -> tuple[float, float]:
    """Thick and thin strokes, heights: a stem takes the share `black` of the way to the next."""
    form = letterform(chapter.letterform)
    step = chapter.narrow * (form.measure("II") - form.measure("I"))
    return black * step, min(hair, 0.5 * black * step)
