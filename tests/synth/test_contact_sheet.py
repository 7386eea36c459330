"""Pages to look at: the contact sheet and the page of cues."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from dialtell.synth.sets.contact_sheet import GAP, PAPER, SIDE, TEXT, contact_sheet, sheet_of, shrunk
from dialtell.synth.sets.cue_page import ROWS, cue_page, making_of
from dialtell.synth.sets.manifest import png
from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.shared.terms import Process
from dialtell.synth.specimen import part, plain_making, specimen
from dialtell.synth.strokes.hand_style import RANGES


def tile(height: int, width: int, value: int) -> np.ndarray:
    return np.full((height, width, 3), value, dtype=np.uint8)


def test_pictures_stand_in_rows_with_a_caption_under_each() -> None:
    sheet = contact_sheet([(tile(240, 240, 10 * k), f"{k}  hand") for k in range(5)], columns=2)
    cell = SIDE + GAP
    assert sheet.shape == (3 * (cell + TEXT) + GAP, 2 * cell + GAP, 3)
    for k in range(5):
        top, left = GAP + (k // 2) * (cell + TEXT), GAP + (k % 2) * cell
        assert (sheet[top : top + SIDE, left : left + SIDE] == 10 * k).all()
        caption = sheet[top + SIDE : top + SIDE + TEXT, left : left + SIDE]
        assert caption.min() < 100 and caption.max() == PAPER  # something is written there


def test_large_pictures_shrink_in_shape_and_small_ones_stay() -> None:
    assert shrunk(tile(300, 600, 7), 240).shape == (120, 240, 3)
    assert shrunk(tile(30, 60, 7), 240).shape == (30, 60, 3)


def test_an_empty_sheet_is_refused() -> None:
    with pytest.raises(ParameterError, match="tiles is empty"):
        contact_sheet([])


def test_a_large_set_is_thinned_out_by_whole_indices(tmp_path: Path) -> None:
    (tmp_path / "a.png").write_bytes(png(tile(20, 20, 90)))
    lines = [
        {"file": "a.png", "index": index, "process": process, "geometry": {"px_per_mm": 1.0}}
        for index in range(10)
        for process in Process
    ]
    cell = SIDE + GAP
    # ten indices of three twins, twelve tiles at most: every third index, 0 3 6 9
    assert sheet_of(lines, tmp_path, most=12).shape == (2 * (cell + TEXT) + GAP, 6 * cell + GAP, 3)


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row.owner}.{row.name}")
def test_every_row_of_cues_names_a_parameter_and_values_it_may_take(row) -> None:  # type: ignore[no-untyped-def]
    assert list(row.values) == sorted(set(row.values))
    if row.owner == "hand":
        low, high = RANGES[row.name]
        assert low <= row.values[0] and row.values[-1] <= high
    weak, strong = (making_of(row, row.values[at]) for at in (0, -1))
    assert weak != strong
    design = specimen()
    a, b = (part(design, making, *row.part, 100).astype(int) for making in (weak, strong))
    assert np.abs(a - b).max() > 15, "the strongest looks like the weakest"


def test_a_perfect_hand_and_a_perfect_print_look_alike() -> None:
    design = specimen()
    hand, print_ = (
        part(design, plain_making(process), *ROWS[0].part, 150).astype(int)
        for process in (Process.HAND, Process.TRANSFER)
    )
    assert np.abs(hand - print_).mean() < 0.5  # levels of 255


def test_the_page_has_a_part_for_every_value() -> None:
    rows = tuple(row for row in ROWS if row.name in ("thin_fade", "spread_mm"))
    page = cue_page(rows)
    blocks = [page[28:228, 8 + k * 208 : 8 + k * 208 + 200] for k in range(5)]
    light = [block.mean() for block in blocks]
    assert light == sorted(light) and light[0] < light[-1]  # thin strokes fade from left to right
