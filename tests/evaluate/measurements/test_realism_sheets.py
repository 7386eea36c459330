"""The sheets of drawn dials beside real ones, on drawn stand-ins for real photographs."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from stand_ins import stand_ins
from trials.realism import sheets
from trials.realism.dials import RADIUS_MM, Dial, real_dials
from trials.realism.sheets import SPOTS, TILE, WIDE, board, close_tile, spot, tile

from dialtell.synth.scene import Range
from dialtell.synth.shared.terms import Zone


@pytest.fixture(scope="module")
def dials(tmp_path_factory: pytest.TempPathFactory) -> list[Dial]:
    photos, table = stand_ins(tmp_path_factory.mktemp("dials"), 2)
    return real_dials([table], [photos])[0]


def test_a_tile_shows_its_zone_at_its_scale(dials: list[Dial]) -> None:
    assert dials
    for dial in dials:
        zones = dial.reading.zones
        for what, zone in (("figure", Zone.NUMERALS), ("track", Zone.MINUTE_TRACK)):
            centre = spot(dial.reading, what, 0.2)
            assert (centre is not None) == (zone in zones.found)
            if centre is None:
                continue
            inner, outer = zones.numerals if zone is Zone.NUMERALS else zones.track or (0.0, 0.0)
            assert inner <= np.hypot(*centre) <= outer
            cut = tile(dial, what, 10.0)
            assert cut is not None and cut.shape == (60, 60, 3) and cut.std() > 5  # something is on it
            fine = tile(dial, what, 30.0)
            assert fine is not None and fine.shape == (150, 150, 3)
            # the same middle, 5 and 6 mm across: the same light on the whole
            middle = cut[5:55, 5:55].reshape(-1, 3).mean(axis=0)
            assert fine.reshape(-1, 3).mean(axis=0) == pytest.approx(middle, abs=6)


def test_a_close_up_is_cut_where_most_goes_on() -> None:
    words, cut = close_tile(3, 60.0, Range(), 5)
    assert cut.shape == (180, 180, 3) and words.startswith("drawn 3")
    assert cut.std() > 10


def test_a_board_holds_its_tiles() -> None:
    picture = np.full((10, 10, 3), 7, dtype=np.uint8)
    sheet = board([("one", [("a", picture)] * 7), ("none", [])])
    assert sheet.width == sheets.COLUMNS * (TILE + 4)
    shown = np.asarray(sheet)
    assert (shown[20 : 20 + TILE, :TILE] == 7).all() and (shown[36 + TILE : 36 + 2 * TILE, :TILE] == 7).all()
    assert (shown[36 + TILE : 36 + 2 * TILE, TILE + 4 :] == 255).all()  # seven in rows of six


def test_the_trial_writes_its_sheets(tmp_path: Path) -> None:
    photos, table = stand_ins(tmp_path, 1)
    out = tmp_path / "sheets"
    arguments = ["--photos", str(photos), "--list", str(table), "--each", "1"]
    assert sheets.main([*arguments, "--out", str(out)]) == 0
    names = {path.name for path in out.glob("*.png")}
    assert names == {f"{scale}-{what}.png" for scale in (10, 30) for what in SPOTS} | {"60.png", "120.png"}
    for path in out.glob("*.png"):
        with Image.open(path) as sheet:
            assert sheet.width == sheets.COLUMNS * (TILE + 4)
    assert sheets.main([*arguments, "--out", str(Path(sheets.__file__).parent / "sheets")]) == 1
    assert RADIUS_MM == pytest.approx(22.0, abs=0.5) and set(WIDE) == {10.0, 30.0, 60.0, 120.0}
