"""Long Roman figures and hairline tracks: how many, how far, and that nothing runs into anything."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from dialtell.synth.design.design import DialDesign
from dialtell.synth.design.fine_lines import HAIRLINES, LONG, with_fine_lines
from dialtell.synth.design.fitting import inside_track, tallest
from dialtell.synth.design.layout import lay_out
from dialtell.synth.letterforms.families import PREFIX
from dialtell.synth.letterforms.glyph import letterform
from dialtell.synth.scene import Range, sample_spec
from dialtell.synth.shared.terms import Process, Zone


@pytest.fixture(scope="module")
def designs() -> tuple[DialDesign, ...]:
    scope = Range()
    return tuple(sample_spec(61, index, scope).design for index in range(300))


def _close(design: DialDesign) -> float:
    """Width of III over its height."""
    assert design.chapter is not None
    return design.chapter.narrow * letterform(design.chapter.letterform).measure("III")


def test_a_good_share_of_roman_figures_is_long_and_close_with_hair_thin_bars(designs: tuple[DialDesign, ...]) -> None:
    cut = [d for d in designs if d.chapter and d.chapter.bent and not d.chapter.letterform.startswith(PREFIX)]
    long = [d for d in cut if d.chapter is not None and d.chapter.narrow < 1.0]
    assert LONG - 0.15 < len(long) / len(cut) < LONG + 0.15
    chapters = [d.chapter for d in long if d.chapter is not None]
    assert np.median([_close(d) for d in long]) < 0.55  # as real ones, looked at: 0.4 to 0.55
    assert np.quantile([chapter.height for chapter in chapters if chapter.hours == 12], 0.75) > 0.27
    # white is left between the stems, and bars are finer than those
    for chapter in chapters:
        form = letterform(chapter.letterform)
        step = chapter.narrow * (form.measure("II") - form.measure("I"))
        assert chapter.thick < 0.7 * step
        assert chapter.thin <= 0.5 * chapter.thick + 1e-9
    assert np.median([chapter.thin / chapter.thick for chapter in chapters]) < 0.2


def test_a_good_share_of_tracks_is_hairlines_whatever_the_figures(designs: tuple[DialDesign, ...]) -> None:
    tracked = [d for d in designs if d.track is not None]
    fine = np.array([d.track.ring_mm < 0.081 * (d.radius_mm / 22) ** 0.8 for d in tracked if d.track is not None])
    fine &= [d.track.tick_mm < 0.101 * (d.radius_mm / 22) ** 0.8 for d in tracked if d.track is not None]
    assert HAIRLINES - 0.08 < fine.mean() < HAIRLINES + 0.15
    long = np.array([d.chapter is not None and d.chapter.narrow < 1.0 for d in tracked])
    assert abs(fine[long].mean() - fine[~long].mean()) < 0.15


def test_figures_keep_clear_of_the_track_and_of_each_other(designs: tuple[DialDesign, ...]) -> None:
    for design in designs:
        chapter = design.chapter
        if chapter is None or chapter.narrow == 1.0:
            continue
        assert chapter.outer <= inside_track(design) + 1e-9
        assert chapter.height <= tallest(chapter) + 1e-9


def test_a_bent_line_does_not_hang_into_the_next_one(designs: tuple[DialDesign, ...]) -> None:
    long = [d for d in designs if d.chapter and d.chapter.narrow < 1.0 and len(d.signature) > 1]
    bent = [line for d in long for line in d.signature if line.arc > 0]
    assert long and bent
    for line in bent:
        wide = line.height * letterform(line.letterform).measure(line.text, tracking=line.tracking)
        assert wide / line.arc <= 1.5 + 1e-9


def test_the_process_does_not_enter(designs: tuple[DialDesign, ...]) -> None:
    assert sample_spec(61, 3, process=Process.HAND).design == sample_spec(61, 3, process=Process.TRANSFER).design
    assert sample_spec(61, 3).design == designs[3]


def test_narrow_figures_are_as_narrow_as_said(designs: tuple[DialDesign, ...]) -> None:
    design = next(d for d in designs if d.chapter and d.chapter.bent and not d.subdials and d.chapter.hours == 12)
    assert design.chapter is not None
    wide = replace(design, chapter=replace(design.chapter, narrow=1.0))
    half = replace(design, chapter=replace(design.chapter, narrow=0.5))

    def breadth(one: DialDesign) -> float:
        twelve = [item for item in lay_out(one) if item.zone is Zone.NUMERALS and item.word == 12]
        return float(np.ptp(np.concatenate([stroke.path[:, 0] for stroke in twelve[0].strokes])))

    assert breadth(half) == pytest.approx(0.5 * breadth(wide), rel=0.03)


def test_the_same_rng_gives_the_same_design(designs: tuple[DialDesign, ...]) -> None:
    first, again = (with_fine_lines(designs[0], rng=np.random.default_rng(4)) for _ in range(2))
    assert first == again
