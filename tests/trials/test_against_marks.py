"""The trial that measures readings against marks: its marks, its ways, and its counting, on drawn pictures."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageDraw
from trials.reading import against_marks
from trials.reading.against_marks import Judged, Told, figures, points_table, share_line
from trials.reading.marks import MarkedZone, Marks, disc, marked_area, overlap, read_area, read_marks
from trials.reading.ways import WAYS, ways_of

from dialtell.model.reading.geometry import DialGeometry
from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.shared.terms import Zone

OUTLINE = DialGeometry((210.0, 160.0), (90.0, 80.0), 0.4, 0.7)


def drawn(outline: DialGeometry = OUTLINE, size: tuple[int, int] = (400, 300)) -> Image.Image:
    """A light ellipse on a dark ground, a dark dot at its 12."""
    picture = Image.new("RGB", size, (60, 50, 40))
    pen = ImageDraw.Draw(picture)
    turn = np.linspace(0, 2 * np.pi, 400)
    pen.polygon([tuple(p) for p in outline.to_photo(np.stack([np.cos(turn), np.sin(turn)], 1))], fill=(235, 235, 228))
    x, y = outline.to_photo(np.array([0.0, -0.75]))
    pen.ellipse((x - 6, y - 6, x + 6, y + 6), fill=(10, 10, 10))
    return picture


def tables(folder: Path, *rows: str, zones: tuple[str, ...] = (), points: tuple[str, ...] = ()) -> Path:
    head = "photo,seen,cx,cy,a,b,degrees,twelve_deg,fit_px,notes"
    (folder / "marks.csv").write_text("\n".join([head, *rows]) + "\n")
    head = "photo,zone,shape,inner,outer,x,y,radius,x0,y0,x1,y1"
    (folder / "zones.csv").write_text("\n".join([head, *zones]) + "\n")
    (folder / "points.csv").write_text("\n".join(["photo,x,y,what", *points]) + "\n")
    return folder


def judged(*told: Told) -> Judged:
    return Judged(Marks("a.png", OUTLINE, True, 1.0, (), np.empty((0, 2)), ()), told)


def test_marks_are_carried_as_the_picture_is() -> None:
    seen = []
    for given in ways_of(drawn(), OUTLINE):
        dial = given.carry(OUTLINE)
        grey = np.asarray(given.picture.convert("L"), dtype=float)

        def at(x: float, y: float, dial: DialGeometry = dial, grey: np.ndarray = grey) -> float:
            column, row = np.floor(dial.to_photo(np.array([x, y]))).astype(int)
            return float(grey[row, column])

        assert at(0.0, -0.75) < 60  # the dot at 12
        assert at(0.0, 0.75) > 120 and at(0.75, 0.0) > 120 and at(-0.75, 0.0) > 120
        turn = np.arange(12) * math.pi / 6
        assert min(at(0.96 * math.cos(t), 0.96 * math.sin(t)) for t in turn) > 120
        assert max(at(1.06 * math.cos(t), 1.06 * math.sin(t)) for t in turn) < 100
        back = given.back(dial)
        assert back.center_px == pytest.approx(OUTLINE.center_px) and back.axes_px == pytest.approx(OUTLINE.axes_px)
        seen.append(given.way)
    assert tuple(seen) == WAYS
    assert "cropped" not in [given.way for given in ways_of(drawn(), None)]


def test_tables_are_read_and_faults_named(tmp_path: Path) -> None:
    folder = tables(
        tmp_path, "a.png,yes,210,160,90,80,23,12.5,1,", "b.png,no,,,,,,,,",
        zones=("a.png,minute track,ring,0.8,0.95,,,,,,,",), points=("a.png,3,4,design",),
    )  # fmt: skip
    marks = read_marks(folder)
    outline = marks["a.png"].outline
    assert outline is not None and outline.twelve_deg == pytest.approx(12.5)
    assert marks["a.png"].zones == (MarkedZone(Zone.MINUTE_TRACK, "ring", (0.8, 0.95)),)
    assert marks["b.png"].outline is None and not marks["b.png"].twelve
    tables(tmp_path, points=("a.png,3,4,brass",))
    with pytest.raises(ParameterError, match=r"points\.csv, line 2"):
        read_marks(folder)


def test_areas_overlap_as_they_should() -> None:
    assert disc().sum() == pytest.approx(math.pi * 240**2, rel=0.01)
    ring = marked_area((MarkedZone(Zone.NUMERALS, "ring", (0.5, 0.8)),), Zone.NUMERALS)
    assert ring.sum() == pytest.approx(math.pi * 240**2 * (0.64 - 0.25), rel=0.02)
    turn = np.linspace(0, 2 * np.pi, 72)
    out = np.stack([np.sin(turn), -np.cos(turn)], axis=1)
    polygon = np.concatenate([0.8 * out, 0.5 * out[::-1]])  # as ZoneMap.polygon gives a ring
    assert overlap(ring, read_area(Zone.NUMERALS, polygon)) > 0.98
    wider = np.concatenate([0.8 * out, 0.2 * out[::-1]])
    assert overlap(ring, read_area(Zone.NUMERALS, wider)) == pytest.approx(0.39 / 0.60, abs=0.02)
    box = marked_area((MarkedZone(Zone.SIGNATURE, "box", (-0.2, -0.4, 0.2, -0.3)),), Zone.SIGNATURE)
    half = read_area(Zone.SIGNATURE, np.array([[-0.2, -0.4], [0.0, -0.4], [0.0, -0.3], [-0.2, -0.3]]))
    assert overlap(box, half) == pytest.approx(0.5, abs=0.02)
    assert overlap(box, read_area(Zone.SIGNATURE, np.empty((0, 2)))) == 0.0


def test_counts_of_ways() -> None:
    place = (100.0, 100.0, 50.0, 50.0)
    own = judged(
        Told("as is", True, 0.01, 0.9, 3.0, 0.9, place, "printed", -1.5),
        Told("on its side", True, 0.05, 0.9, 90.0, 0.9, (100.1, 100.0, 50.0, 50.0), "hand-painted", 1.5),
        Told("on its head", True, 0.03, 0.2, 2.0, 0.4, (101.0, 100.0, 50.0, 50.0), "undetermined", None),
        Told("grey", False),
    )
    found = figures([own])
    shares = {name: (one["count"], one["of"]) for name, one in found["shares"].items()}
    assert shares["dial found, all ways"] == (3, 4)
    assert shares["centre and axes within 2 % of the marks, of found, all ways"] == (1, 3)
    assert shares["outline off by more than 2 %, certainty 0.5 or more (no warning)"] == (1, 3)
    assert shares["outline off by more than 2 %, warned"] == (1, 3)
    assert shares["12 within 6 degrees, on its side"] == (0, 1)
    assert shares["12 more than 6 degrees off, of those told as certain"] == (1, 2)
    assert own.spread == [True, True, False]
    part = judged(*(Told("as is", True, off, None, place=place) for off in (0.01, 0.06)))  # close-ups state none
    shares = {name: (one["count"], one["of"]) for name, one in figures([part])["shares"].items()}
    assert shares["outline off by more than 2 %, certainty 0.5 or more (no warning)"] == (0, 2)
    assert shares["outline off by more than 2 %, warned"] == (1, 2)
    assert shares["outline right to 2 %, warned for nothing"] == (1, 2)
    shares = {name: (one["count"], one["of"]) for name, one in found["shares"].items()}
    assert own.opposite and own.ratio_spread == pytest.approx(1.5)
    assert shares["photographs with opposite calls"] == (1, 1)
    assert "0.750" in share_line("dial found", found["shares"]["dial found, all ways"])


def test_the_trial_runs_on_a_drawn_picture(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    from dialtell.train.reader.finish import photograph_of

    example = next(e for e in (photograph_of(7, k, 420) for k in range(20)) if e.outline is not None)
    assert example.outline is not None
    (tmp_path / "photos").mkdir()
    Image.fromarray(example.picture).save(tmp_path / "photos" / "a.png")
    (x, y), (a, b) = example.outline.center_px, example.outline.axes_px
    tables(
        tmp_path, f"a.png,yes,{x},{y},{a},{b},{math.degrees(example.outline.angle_rad)},,1,", "gone.png,no,,,,,,,,",
        zones=("a.png,minute track,ring,0.8,0.95,,,,,,,",), points=(f"a.png,{x},{y},hand", "a.png,-500,-500,not dial"),
    )  # fmt: skip
    out = tmp_path / "out.json"
    arguments = ["--photos", str(tmp_path / "photos"), "--marks", str(tmp_path), "--out", str(out)]
    assert against_marks.main(arguments) == 0
    text = capsys.readouterr().out
    assert "dial found, all ways" in text and "marked, but not there: gone.png" in text
    found = json.loads(out.read_text())
    assert found["photographs"] == 1 and len(found["photos"][0]["ways"]) == len(WAYS)
    # 12 is not marked here, and so not judged
    assert found["figures"]["shares"]["12 within 6 degrees, as is"]["of"] == 0
    assert found["figures"]["shares"]["points right"]["of"] == 2
    assert points_table(found["figures"]["points"])[0].split()[-2:] == ["not", "read"]
    assert against_marks.main(["--photos", str(tmp_path), "--marks", str(tmp_path / "none")]) == 1
