"""Comparing two dials: the finding follows from what is left, the document and page carry it."""

import html
import json
import math
import re
from dataclasses import replace
from importlib import resources
from pathlib import Path

import cv2
import numpy as np
import pytest
from page_opened import needs_browser, opened
from PIL import Image

from dialtell.evaluate.cli.main import main
from dialtell.evaluate.compare.compare import compare_photos
from dialtell.evaluate.compare.findings import CANNOT_TELL, DIFFERENT, ONE_PLATE, SEPARATE
from dialtell.evaluate.compare.page import page_text
from dialtell.evaluate.compare.plate_test import FEATURES, PlateModel, judge_pair, model_from, shipped_model
from dialtell.evaluate.compare.registration import Registration
from dialtell.model.net.weights_file import load_weights
from dialtell.model.reading.known import Known

EXAMPLES = Path(str(resources.files("dialtell.evaluate"))) / "examples"
# the stray in px decides: half a pixel is the middle
MODEL = PlateModel(0.0, (0.0, -6.0, 0.0, 0.0, 0.0), (0.0, math.log(0.5), 0.0, 0.0, 0.0), -2, 2, 0.6, 0.3, 100.0, {})


def laid(spread_px, *, share=0.95, scale=400.0, count=200):
    rng = np.random.default_rng(1)
    sites = rng.uniform(-0.7, 0.7, (count, 2))
    matched = np.arange(count) < share * count
    found = sites + spread_px / scale * rng.standard_normal((count, 2))
    return Registration(sites, found, np.full(count, 0.9), sites, matched, 0.0, scale, np.zeros((10, 2)))


@pytest.mark.parametrize(
    ("found", "finding"),
    [
        (laid(0.1), ONE_PLATE),
        (laid(2.0), SEPARATE),
        (laid(0.5), CANNOT_TELL),
        (laid(0.1, share=0.1), DIFFERENT),
        (laid(0.1, share=0.45), CANNOT_TELL),
        (laid(0.1, scale=60.0), CANNOT_TELL),
        (None, CANNOT_TELL),
    ],
)
def test_findings_follow_from_what_is_left(found, finding):
    verdict = judge_pair(found, MODEL)
    assert verdict.finding == finding
    assert verdict.reason.endswith(".")
    if finding in (ONE_PLATE, SEPARATE):
        assert (verdict.log10_lr > 0) == (finding == ONE_PLATE)
        assert abs(verdict.log10_lr) <= 2 and verdict.capped


def test_a_model_for_other_features_is_refused():
    record = {
        "schema": "dialtell.plate/1",
        "features": list(FEATURES),
        "offset": 0,
        "weights": [0] * 5,
        "middle": [0] * 5,
        "low": -1,
        "high": 1,
        "alike": 0.6,
        "unlike": 0.3,
        "coarsest": 100,
        "figures": {},
    }
    assert model_from(record).alike == 0.6  # fmt: skip
    with pytest.raises(ValueError, match="other features"):
        model_from({**record, "features": ["ln spread"]})
    assert shipped_model().low <= 0 <= shipped_model().high


@pytest.fixture(scope="module")
def another(tmp_path_factory):
    """A second photograph of the printed example: turned, smaller, softer, compressed."""
    path = tmp_path_factory.mktemp("second") / "second.jpg"
    picture = np.array(Image.open(EXAMPLES / "printed-transfer.jpg").convert("RGB"))
    height, width = picture.shape[:2]
    turn = cv2.getRotationMatrix2D((width / 2, height / 2), 7.0, 0.93)
    turned = cv2.warpAffine(picture, turn, (width, height), flags=cv2.INTER_AREA, borderValue=(90, 90, 90))
    Image.fromarray(cv2.GaussianBlur(turned, (0, 0), 0.8)).save(path, quality=80)
    return path


@pytest.fixture(scope="module")
def compared(another):
    return compare_photos(
        EXAMPLES / "printed-transfer.jpg", another, load_weights(None), known=Known(diameter_mm=44.873)
    )


def test_two_photographs_of_one_print_leave_next_to_nothing(compared):
    document = compared.document
    json.dumps(document, allow_nan=False)
    assert document["schema"] == "dialtell.compare/1"
    assert document["matched"] > 0.8 * document["places"]
    assert document["stray"]["mm"] < 0.02
    assert abs(math.degrees(compared.registration.turn)) < 10
    zones = {row["zone"]: row for row in document["zones"]}
    assert zones["numerals"]["stray_mm"] < 0.03
    assert sum(row["places"] for row in zones.values()) <= document["places"]


def test_a_painted_copy_of_the_design_strays_more(compared):
    painted = compare_photos(EXAMPLES / "printed-transfer.jpg", EXAMPLES / "painted.jpg", load_weights(None))
    assert painted.document["stray"]["radii"] > 3 * compared.document["stray"]["radii"]
    assert painted.document["finding"] in (SEPARATE, CANNOT_TELL)
    assert painted.document["stray"]["mm"] is None


def test_no_dial_is_said_and_the_command_prints_one_document(tmp_path, capsys):
    plain = tmp_path / "plain.png"
    Image.new("RGB", (300, 300), (120, 120, 120)).save(plain)
    assert main(["compare", str(EXAMPLES / "painted.jpg"), str(plain), "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["finding"] == CANNOT_TELL and "second photograph" in document["reason"]
    assert main(["compare", str(EXAMPLES / "painted.jpg"), str(tmp_path / "none.jpg")]) == 1
    capsys.readouterr()
    assert main(["compare", str(plain), str(plain), "--json"]) == 0
    assert "a photograph always fits itself" in capsys.readouterr().err


PROBE = """<script>addEventListener("load", () => {
  const both = document.querySelector("[data-both]"), told = {first: both.dataset.view};
  const press = (key) => both.dispatchEvent(new KeyboardEvent("keydown", {key, bubbles: true, cancelable: true}));
  press("+"); press("+"); press("ArrowRight"); told.moved = both.dataset.view;
  told.linked = new Set([...document.querySelectorAll("[data-dial]")].map((i) => i.style.transform)).size;
  const arrows = document.querySelector("[data-arrows]");
  told.hidden = arrows.hasAttribute("hidden"); document.getElementById("arrows").click();
  told.shown = !arrows.hasAttribute("hidden"); told.lines = arrows.querySelectorAll("line").length;
  const overlay = document.getElementById("overlay"); overlay.value = 60; overlay.dispatchEvent(new Event("input"));
  told.over = document.querySelector("[data-over]").style.opacity;
  press("b"); told.blink = document.getElementById("blink").checked; press("0"); told.whole = both.dataset.view;
  told.wide = document.documentElement.scrollWidth <= innerWidth;
  document.body.dataset.told = JSON.stringify(told);
})</script></body>"""


@needs_browser
def test_the_page_moves_both_dials_together(compared, tmp_path):
    text = page_text(compared)
    assert len(text) < 6e6
    (tmp_path / "real.html").write_text(text, encoding="utf-8")
    _, console = opened(tmp_path / "real.html", tmp_path / "profile")
    assert console == []
    probed = re.sub(r'<meta http-equiv="Content-Security-Policy"[^>]*>', "", text).replace("</body>", PROBE)
    (tmp_path / "probe.html").write_text(probed, encoding="utf-8")
    dom, console = opened(tmp_path / "probe.html", tmp_path / "profile")
    told = json.loads(html.unescape(re.search(r'data-told="([^"]*)"', dom).group(1)))
    assert console == []
    assert told["first"] == "1.000 0.0000 0.0000" and told["moved"].startswith("1.56")
    assert told["linked"] == 1 and told["whole"] == "1.000 0.0000 0.0000"
    assert told["hidden"] and told["shown"] and told["lines"] == compared.document["matched"]
    assert told["over"] == "0.6" and told["blink"] and told["wide"]


@needs_browser
def test_different_designs_are_laid_on_nothing(compared, tmp_path):
    other = replace(compared, document=compared.document | {"finding": DIFFERENT, "log10_lr": None})
    text = page_text(other)
    body = re.sub(r"<script.*?</script>|<style.*?</style>", "", text, flags=re.DOTALL)
    assert not re.search(r'id="(overlay|blink|differ|arrows)"|data-over|data-arrows|laid over the first', body)
    assert "data-by" in body and "Nothing is laid over anything here" in body
    (tmp_path / "other.html").write_text(text, encoding="utf-8")
    dom, console = opened(tmp_path / "other.html", tmp_path / "profile")
    assert console == [] and "data-view" in dom


def test_what_one_dial_has_and_the_other_lacks_is_asked_both_ways():
    found, model = laid(2.0), shipped_model()
    assert judge_pair(found).finding == SEPARATE
    few = judge_pair(found, back=0.5 * (model.alike + model.unlike))
    assert few.finding == CANNOT_TELL and "of those on the second on the first" in few.reason and few.log10_lr is None
    assert judge_pair(found, back=0.5 * model.unlike).finding == DIFFERENT
    lost = judge_pair(found, lost="the seconds bit of the first was not found on the second")
    assert lost.finding == CANNOT_TELL and "seconds bit of the first" in lost.reason
