"""The still: its size, what is drawn where, and text that fits and carries accents."""

import io

import numpy as np
import pytest
from PIL import Image, ImageFont

from dialtell.evaluate.paper import still
from dialtell.evaluate.paper.still import WIDTH, still_png, wrapped, write_still
from dialtell.evaluate.paper.still_picture import INK, marked
from dialtell.synth.shared.errors import OutputError

MODEL = {"name": "net", "version": "0.1", "sha256": "ab" * 32, "renderer_version": "3"}


def square(x0, y0, x1, y1):
    return [[x0, y0], [x1, y0], [x1, y1], [x0, y1]]


def zone(name, call, polygon, ratio):
    return {
        "zone": name, "judged": ratio is not None, "call": call, "probability_hand": None, "log10_lr": ratio,
        "reason": "Seen.", "polygon_px": polygon,
    }  # fmt: skip


def record(**changes):
    dial = {
        "photo": "folder/Zifferblatt Größe.jpg",
        "call": "hand-painted",
        "probability_hand": 0.95,
        "log10_lr": 1.28,
        "support": "at least moderate support for hand painting",
        "reason": "Thin strokes are fainter than thick ones.",
        "geometry": {
            "center_px": [200.0, 150.0], "axes_px": [140.0, 100.0], "rotation_deg": 90.0, "ellipse_angle_deg": 90.0,
        },
        "zones": [
            zone("numerals", "hand-painted", square(150, 60, 250, 100), 1.1),
            zone("minute track", "printed", square(150, 110, 250, 150), -1.1),
            zone("signature", "undetermined", square(150, 160, 250, 200), None),
        ],
        "warnings": ["The dial is seen at 40 degrees from square."],
    }  # fmt: skip
    return dial | changes


def photo(height=300, width=400):
    return np.full((height, width, 3), 128, np.uint8)


def opened(content):
    image = Image.open(io.BytesIO(content))
    image.load()
    return image


def test_still_is_a_png_of_one_width_for_any_photograph():
    for shape in [(300, 400), (3000, 200), (40, 4000), (9, 9)]:
        image = opened(still_png(photo(*shape), record(zones=[], geometry=None), None, MODEL))
        assert image.format == "PNG" and image.width == WIDTH and image.height < 3000
        assert image.info["dpi"] == pytest.approx((still.DPI, still.DPI), abs=0.1)


def test_text_makes_the_still_taller_never_wider():
    short = opened(still_png(photo(), record(), None, MODEL))
    warnings = ["word " * 60, "x" * 700]
    long = opened(still_png(photo(), record(warnings=warnings), None, MODEL))
    assert long.width == short.width and long.height > short.height + 100
    right = np.asarray(long)[:, WIDTH - still.MARGIN + 2 :]
    assert (right == 255).all()  # nothing runs into the margin


def dark(picture, x, y, reach=3):
    """Whether a place holds a line of the outline."""
    part = picture[round(y) - reach : round(y) + reach + 1, round(x) - reach : round(x) + reach + 1].astype(int)
    return (np.abs(part - INK).max(axis=2) < 40).any()


def test_outline_lies_on_the_ellipse_and_12_oclock_where_the_dial_has_it():
    picture = marked(photo(), record(zones=[]), None, (800, 600))
    # the long half-axis of 140 px stands upright; the picture is twice as large
    for x, y in [(200, 150 - 140), (200, 150 + 140), (100, 150), (300, 150)]:
        assert dark(picture, 2 * x, 2 * y)
    assert not dark(picture, 2 * (200 + 140), 300) and not dark(picture, 400, 300)
    assert dark(picture, 2 * (200 + 103), 300) and not dark(picture, 2 * (200 - 103), 300)  # 12 o'clock to the right


def test_no_outline_without_a_place():
    assert (marked(photo(), record(zones=[], geometry=None), None, (400, 300)) == 128).all()


def drawn_share(picture, row):
    """Share of a horizontal border that is not its light halo."""
    line = picture[row - 1 : row + 1, 160:240].astype(int)
    return (np.abs(line - 255).max(axis=2) > 60).any(axis=0).mean()


def test_calls_are_told_apart_without_colour():
    picture = marked(photo(), record(geometry=None), None, (400, 300))
    hand, printed, unjudged = (drawn_share(picture, row) for row in (60, 110, 160))
    assert hand == 1 > printed > unjudged > 0


def test_map_changes_only_where_it_speaks():
    signed = np.zeros((300, 400), np.float32)
    signed[100:200, 50:150], signed[100:200, 250:350] = 1.0, -1.0
    picture = marked(photo(), record(zones=[], geometry=None), signed, (400, 300)).astype(int)
    red_hand, red_print = picture[110:190, 60:140, 0].mean(), picture[110:190, 260:340, 0].mean()
    assert red_hand > 150 and red_print < 110
    assert (picture[:80] == 128).all()


def test_lines_fit_and_keep_every_word():
    text = "An opinion from a photograph is not an authentication and not an appraisal."
    lines = wrapped(text, 20, 200)
    font = still._font(20, False)
    assert " ".join(lines) == text and len(lines) > 3
    assert all(font.getlength(line) <= 200 for line in lines)
    broken = wrapped("x" * 300, 20, 200)
    assert "".join(broken) == "x" * 300 and all(font.getlength(line) <= 200 for line in broken)


def test_accents_are_carried_and_what_is_not_is_said():
    assert wrapped("Größe, Ølgaard, Łódź, Ελλάς, e\u0301mail −", 20, 2000) == ["Größe, Ølgaard, Łódź, Ελλάς, émail −"]
    assert wrapped("時計", 20, 2000) == ["??"]
    font = still._font(40, False)
    assert isinstance(font, ImageFont.FreeTypeFont)
    shapes = {bytes(font.getmask(mark)) for mark in "öøłéΣ"}
    assert len(shapes) == 5  # five shapes, not five boxes


def test_never_overwrites(tmp_path):
    place = tmp_path / "a.png"
    place.write_bytes(b"mine")
    with pytest.raises(OutputError, match="exists"):
        write_still(place, b"other")
    assert place.read_bytes() == b"mine"
    write_still(place, b"other", overwrite=True)
    assert [file.name for file in tmp_path.iterdir()] == ["a.png"] and place.read_bytes() == b"other"
