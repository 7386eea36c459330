import json
import re

import cv2
import numpy as np
import pytest
from pages_made import without_line_ups
from PIL import Image
from score_schema import check_dial

from dialtell.evaluate.cli.main import main
from dialtell.evaluate.inspection.close_views import OFF_FRAME, VIEW, ViewPlace, view_of, zone_crops
from dialtell.evaluate.inspection.first_screen import NO_WEIGHT
from dialtell.evaluate.inspection.one_photo import inspect_photo
from dialtell.evaluate.inspection.stated import dial_view, drawable
from dialtell.evaluate.maps.painting import photo_maps, view_map
from dialtell.evaluate.period.date_check import Years
from dialtell.evaluate.score.score import score_photo
from dialtell.evaluate.words.plain import zone_heading
from dialtell.evaluate.words.support import ratio_words
from dialtell.model.reading.known import Known
from dialtell.model.reading.photo import display, linear_light
from dialtell.synth.shared.errors import OutputError, PhotoError
from dialtell.synth.shared.srgb import encoded
from dialtell.synth.shared.terms import ZONES


@pytest.fixture(scope="module")
def weights(weighty):
    return weighty


@pytest.fixture(scope="module")
def scored(drawn_photo, weights):
    return score_photo(drawn_photo, weights)


@pytest.fixture(scope="module")
def inspected(drawn_photo, weights, tmp_path_factory):
    out = tmp_path_factory.mktemp("page") / "watch.html"
    return inspect_photo(drawn_photo, out, weights, known=Known(diameter_mm=44.873)), out.read_text(encoding="utf-8")


def test_document_and_page_say_the_same(inspected, drawn_photo):
    document, page = inspected
    asked = {
        "schema", "model", "reader", "page", "dial", "measured_opinion", "measurements", "not_measured", "explanation",
        "period", "style_hints", "still", "report",
    }  # fmt: skip
    assert set(document) == asked
    check_dial(document["dial"])
    assert document["dial"]["reason"] in page
    # the photograph, and three zones with their maps and a dial of either kind beside each
    assert page.count("data:image/jpeg") >= 1 + 4 * 3
    assert "Drawn: painted by hand" in page and "Drawn: printed" in page
    assert document["period"] is None and "<dt>The date</dt>" not in page
    assert "data:image/png" in page  # the map over the photograph


def test_the_call_is_the_sum_of_what_places_add(inspected):
    """In the document to 1e-4 before the cap, which this net's offset goes beyond; on the page in words."""
    document, page = inspected
    told = document["explanation"]
    parts = sum(part["contribution"] for part in [*told["places"], *told["pairs"]])
    assert told["base"] + parts == pytest.approx(told["total"], abs=1e-4) and len(told["places"]) > 50
    assert told["base"] + sum(zone["contribution"] for zone in told["zones"]) == pytest.approx(told["total"], abs=1e-4)
    assert told["total"] > document["dial"]["log10_lr"] == 2.0
    assert (
        "Multiplied with one another and with where every dial " in page
        and "the call says no more than 100 to 1" in page
    )
    rows = dict(re.findall(r'<span role="rowheader">([^<]+)</span>.*?<span role="cell">([^<]+)</span>', page))
    shares = {zone_heading(zone["zone"]): zone["contribution"] for zone in told["zones"]}
    for name, added in (shares | {"Where every dial starts": told["base"]}).items():
        side = "hand painting" if added > 0 else "printing"
        assert rows[name] == (f"{ratio_words(added)} times for {side}" if abs(added) >= NO_WEIGHT else "no weight")
    software = re.compile(
        r"gradient|attribution|completeness|saliency|logit\b|\bsteps\b|heat.?map|shap\b|lime\b|grad.?cam|activation|"
        r"feature importance|p-value|bootstrap|classifier|embedding", re.IGNORECASE,
    )  # fmt: skip
    plain = re.sub(r"<(style|script)[^>]*>.*?</\1>|data:[^\"')]*", "", page, flags=re.DOTALL)
    assert not software.search(plain) and not software.search(json.dumps(document))


def test_what_spoke_loudest_is_shown_with_its_own_share(inspected):
    """Of the parts that weigh on the call's side the heaviest, with a picture, framed on the dial."""
    document, page = inspected
    told = document["explanation"]["zones"]
    heaviest = max((zone for zone in told if zone["contribution"] > 0.04), key=lambda zone: zone["contribution"])
    head = page[: page.index("</header>")]
    assert f"<h2>Loudest: {zone_heading(heaviest['zone'])}</h2>" in head
    assert f"make hand painting {ratio_words(heaviest['contribution'])} times likelier" in head
    assert head.count('<img src="data:image/jpeg') == 1 and re.search(r'<g class="loudest">\s*<polygon', head)


def test_a_close_view_has_the_share_of_the_places_in_it(scored):
    """All places of a dial within a view as large as the dial make the whole sum; its corners lie where it was cut."""
    told = scored.verdict.explanation
    for crop in zone_crops(scored, scored.reading.patches.density, lambda zone, place: ()):
        corners = scored.reading.geometry.to_dial(crop.frame)
        assert np.linalg.norm(corners - np.roll(corners, 1, axis=0), axis=1) == pytest.approx(VIEW, abs=1e-6)
        middle, right = corners.mean(axis=0), (corners[1] - corners[0]) / VIEW
        away = told.center - middle
        inside = (told.zone == ZONES.index(crop.zone)) & (np.abs(away @ right) < VIEW / 2)
        inside &= np.abs(away @ [-right[1], right[0]]) < VIEW / 2
        assert inside.any() and crop.share == pytest.approx(float(told.by_place[inside].sum()))


def test_measurements_of_a_machine_like_dial_lean_against_the_call(inspected):
    """The drawn dial is ruled, and the untrained net told to call it painted: the page says both."""
    document, page = inspected
    both, dial = document["measured_opinion"], document["dial"]
    assert (dial["call"], dial["log10_lr"], both["agreement"]) == ("hand-painted", 2.0, "disagree")
    assert both["log10_lr"] < 0 and both["sentence"] in page.replace("&#39;", "'")
    assert "This dial looks painted" in page and "lean the other way" in page
    weighed = [row for row in document["measurements"] if row["lean_log10"] is not None]
    assert 5 <= both["measurements_used"] <= len(weighed)
    units = {row["unit"] for row in document["measurements"]}
    assert "mm" in units and "dial radii" not in units  # the size was given
    assert document["not_measured"] is None
    for row in document["measurements"]:
        assert (row["value"] is None) == ("it takes" in row["words"])
    assert len(page) < 4_000_000


def test_a_photograph_that_carries_no_strokes_is_not_measured(drawn_photo, weights, tmp_path):
    blurred = cv2.GaussianBlur(cv2.imread(str(drawn_photo)), (0, 0), 4)
    cv2.imwrite(str(tmp_path / "soft.png"), blurred)
    document = inspect_photo(tmp_path / "soft.png", tmp_path / "soft.html", weights)
    page = (tmp_path / "soft.html").read_text(encoding="utf-8")
    assert document["dial"]["geometry"] and document["measurements"] == []
    assert document["not_measured"] in page and "Nothing was measured" in page
    assert document["measured_opinion"]["log10_lr"] is None and document["dial"]["call"] == "undetermined"


def correlation(a, b):
    return float(np.corrcoef(a.ravel(), b.ravel())[0, 1])


def test_maps_lie_where_the_patches_were_cut(scored):
    reading = scored.reading
    density = reading.patches.density[None]
    (painted,) = photo_maps(density, reading.patches, reading.geometry, reading.density.shape)
    covered = painted != 0
    assert correlation(painted[covered], reading.density[covered]) > 0.9
    # a dial shown at half size
    half = cv2.resize(reading.density, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    (painted,) = photo_maps(density, reading.patches, reading.geometry.scaled(0.5), half.shape)
    covered = painted != 0
    assert correlation(painted[covered], half[covered]) > 0.9


def test_close_views_and_their_maps_coincide(scored):
    crops = zone_crops(scored, scored.reading.patches.density, lambda zone, place: ())
    judged = [zone["zone"] for zone in scored.record["zones"] if zone["judged"]]
    assert [crop.zone for crop in crops] == judged and len(crops) >= 3
    for crop in crops:
        darkness = -np.log10(np.maximum(linear_light(crop.image).mean(axis=2), 0.01))
        covered = crop.added != 0
        assert covered.mean() > 0.05 and min(crop.image.shape[:2]) >= 200
        assert correlation(crop.added[covered], darkness[covered]) > 0.9, crop.zone


def test_view_without_patches_is_empty(scored):
    far = scored.reading.geometry.scaled(1.0)
    far = type(far)((-5000.0, -5000.0), far.axes_px)
    assert not view_map(scored.reading.patches.density, scored.reading.patches, far, (50, 50)).any()


def test_a_close_view_is_plain_where_the_photograph_ends(scored):
    """Half of it lies off the frame, and no streaks of the last column stand there."""
    height, width = scored.photo.pixels.shape[:2]
    geometry = scored.reading.geometry
    x, y = geometry.to_dial(np.array([width, 0.5 * height]))
    right = geometry.to_dial(np.array([width + 1.0, 0.5 * height])) - (x, y)
    shown = view_of(scored.photo, geometry, ViewPlace((x, y), (right[0], right[1]), 200))
    assert (shown[:, 105:] == OFF_FRAME).all() and not (shown[:, :95] == OFF_FRAME).all(axis=-1).any()


def test_display_undoes_the_reader():
    codes = np.arange(256, dtype=np.uint8).reshape(16, 16)
    assert np.array_equal(display(linear_light(codes)), codes)


def test_display_is_the_standards_curve_to_a_code():
    light = np.random.default_rng(1).random((70, 50, 3), dtype=np.float32) ** 3
    beyond = np.float32([[-0.4, 0.0], [1.0, 1.7]])
    assert np.abs(display(light).astype(int) - 255 * encoded(light.astype(np.float64))).max() < 0.53
    assert display(beyond).tolist() == [[0, 0], [255, 255]]


def test_the_dial_is_cut_out_with_everything_in_place(scored):
    """The rim's course over the picture is the rim's course over the photograph, whatever was cut away."""
    geometry = scored.reading.geometry
    view = dial_view(scored.photo, geometry, 360)
    assert max(view.picture.shape) == 360
    placed = drawable(scored.record, view.scale, view.corner)["geometry"]
    assert placed["center_px"] == pytest.approx(view.points(np.array(geometry.center_px)), abs=0.1)
    assert view.geometry(geometry).center_px == pytest.approx(placed["center_px"], abs=0.1)
    x0, y0 = (int(v) for v in view.corner)
    high, wide = (round(side / view.scale) for side in view.picture.shape[:2])
    whole = display(scored.photo.pixels)[y0 : y0 + high, x0 : x0 + wide]
    small = cv2.resize(whole, view.picture.shape[1::-1], interpolation=cv2.INTER_AREA)
    assert correlation(small.astype(float), view.picture.astype(float)) > 0.99
    assert min(high, wide) <= 2 * 1.06 * max(geometry.axes_px) + 2  # it fills the picture
    assert dial_view(scored.photo, None).whole


def test_large_photographs_are_shown_smaller_with_everything_in_place(scored):
    small = drawable(scored.record, 0.5)
    assert small["geometry"]["center_px"] == pytest.approx([v / 2 for v in scored.record["geometry"]["center_px"]])
    assert small["geometry"]["pixels_across"] == scored.record["geometry"]["pixels_across"]
    assert small["zones"][1]["polygon_px"][3][0] == scored.record["zones"][1]["polygon_px"][3][0] / 2


def test_a_photograph_without_a_dial_gets_a_page(tmp_path, weights):
    Image.new("L", (200, 150), 90).save(tmp_path / "wall.png")
    document = inspect_photo(tmp_path / "wall.png", tmp_path / "wall.html", weights)
    assert document["explanation"] is None and document["dial"]["geometry"] is None
    page = (tmp_path / "wall.html").read_text(encoding="utf-8")
    assert "No dial was found" in page and "Nothing was measured: no dial was read." in page
    assert "A dial that can be made out." in page
    assert document["measured_opinion"] is None and document["measurements"] == []


def test_refusals(tmp_path, weights, drawn_photo):
    page = tmp_path / "page.html"
    page.write_text("mine")
    with pytest.raises(OutputError, match="--overwrite"):
        inspect_photo(drawn_photo, page, weights)
    assert page.read_text() == "mine"
    with pytest.raises(PhotoError, match="is a folder"):
        inspect_photo(tmp_path, tmp_path / "other.html", weights)
    assert not (tmp_path / "other.html").exists()


def test_command(tmp_path, make_weights, capsys, strict_json):
    Image.new("L", (200, 150), 90).save(tmp_path / "wall.png")
    words = ["inspect", str(tmp_path / "wall.png"), "--weights", str(make_weights()), "--out", str(tmp_path / "a.html")]
    assert main(words) == 0
    said = capsys.readouterr()
    assert "undetermined" in said.out and said.err == f"wrote {tmp_path / 'a.html'}\n"
    assert main([*words, "--json"]) == 1
    assert capsys.readouterr().err.startswith(f"dialtell: error: {tmp_path / 'a.html'} exists")
    assert main([*words, "--json", "--overwrite"]) == 0
    document = strict_json(capsys.readouterr().out)
    assert document["schema"] == "dialtell.inspect/1" and document["page"] == str(tmp_path / "a.html")


def test_the_date_stands_apart_from_the_strokes(drawn_photo, weights, tmp_path):
    years = Years(1874, 1874, 1874, "as stated")
    document = inspect_photo(drawn_photo, tmp_path / "a.html", weights, years=years)
    page = (tmp_path / "a.html").read_text(encoding="utf-8")
    assert document["period"]["finding"] == "fits" and "on movements of 1874 (as stated)" in page
    assert document["period"]["answer"] == "This dial looks painted by hand, and its date allows it."
    assert f"<h1>{document['period']['answer']}</h1>" in page and page.count("<h1>") == 1
    assert document["period"]["posterior_log10_odds"] == pytest.approx(
        document["period"]["prior_log10_odds"] + document["dial"]["log10_lr"], abs=1e-3
    )
    plain = inspect_photo(drawn_photo, tmp_path / "b.html", weights)
    assert plain["dial"]["log10_lr"] == document["dial"]["log10_lr"]


def test_another_photograph_is_shown_beside(drawn_photo, weights, tmp_path):
    inspect_photo(drawn_photo, tmp_path / "a.html", weights, compare_with=drawn_photo)
    page = without_line_ups((tmp_path / "a.html").read_text(encoding="utf-8"))
    assert f"{drawn_photo.name}: called hand-painted" in page and "Drawn: printed" not in page
    Image.new("L", (200, 150), 90).save(tmp_path / "wall.png")
    with pytest.raises(PhotoError, match="compare-with"):
        inspect_photo(drawn_photo, tmp_path / "c.html", weights, compare_with=tmp_path / "wall.png")


@pytest.mark.parametrize(
    ("flags", "said"),
    [(["--serial", "5"], "--serials"), (["--serials", "x.csv"], "without --serial"), (["--year", "12"], "1700")],
)
def test_flags_of_the_date_are_checked_before_any_work(flags, said, drawn_photo, tmp_path, capsys):
    assert main(["inspect", str(drawn_photo), "--out", str(tmp_path / "a.html"), *flags]) == 1
    assert said in capsys.readouterr().err
    assert not (tmp_path / "a.html").exists()


def test_a_ratio_that_is_withheld_is_not_joined_with_the_date(drawn_photo, weights, tmp_path):
    """Too few px: the page hides the number, so its check of the date must not bring it back."""
    small, page = tmp_path / "small.png", tmp_path / "small.html"
    with Image.open(drawn_photo) as photo:
        photo.resize((photo.width // 4, photo.height // 4)).save(small)
    document = inspect_photo(small, page, weights, years=Years(1874, 1874, 1874, "as stated"))
    assert document["dial"]["support"].startswith("withheld") and document["dial"]["log10_lr"] is not None
    assert document["period"]["posterior_log10_odds"] is None and document["period"]["prior_log10_odds"] != 0
    text = page.read_text(encoding="utf-8")
    assert "Nothing that could be held against a date." in text and "to 1 for" not in text
