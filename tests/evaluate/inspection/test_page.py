"""The page says what the record says, asks for nothing outside, and can be read by keys, narrow and without colour."""

import html
import html.parser
import itertools
import json
import math
import re
from dataclasses import replace

import numpy as np
import pytest
from page_opened import needs_browser, opened
from pages_made import MODEL, photo, ring, sample, zone
from web_driver import CHROMIUM, DRIVER, ENTER, Browser

from dialtell.evaluate.inspection.bearing import bearing
from dialtell.evaluate.inspection.evidence_table import evidence_table, nothing_measured
from dialtell.evaluate.inspection.page import PageExtras, ZoneCrop, page_text, write_page
from dialtell.evaluate.inspection.reported import framed
from dialtell.evaluate.inspection.stated import drawable
from dialtell.evaluate.measurements.evidence import MeasuredEvidence, MeasurementRow, ZoneFacts
from dialtell.evaluate.measurements.glossary import GLOSSARY
from dialtell.evaluate.measurements.second_opinion import Opinion
from dialtell.evaluate.measurements.spread import Band
from dialtell.evaluate.pages import pictures
from dialtell.evaluate.score.reasons import WITHHELD
from dialtell.evaluate.words.shares import Shares
from dialtell.model.net.verdict import ProcessEvidence as Judged
from dialtell.model.net.verdict import Verdict
from dialtell.synth.shared.errors import OutputError, ParameterError
from dialtell.synth.shared.terms import ZONES, Zone

EVIL = '<img src=x onerror="document.title=1">\u202e.jpg'


def signed_map():
    signed = np.zeros((300, 400), np.float32)
    signed[50:150, 50:350], signed[200:250, 50:350] = 1.0, -0.5
    return signed


def crops():
    mapped = ZoneCrop("numerals", photo()[:60, :90], signed_map()[:60, :90], "Compare.")
    return [replace(mapped, frame=np.array([[9.0, 9], [99, 9], [99, 69], [9, 69]])), ZoneCrop("other", photo()[:9, :9])]


def measured(count=3, lean=0.5):
    """A table of one zone with `count` measurements, a stroke each, and an empty rest. lean : of each, as the craft has
    it."""
    band = Band(np.linspace(0.4, 0.8, 17), np.linspace(0.6, 1.0, 17), 30, 28)
    names = ["unlikeness of like strokes", "thin against thick", "width along a stroke"][:count]
    side = "Leans to the hand" if lean > 0 else "Leans to print"
    high = [(lean > 0) == (GLOSSARY[name].hand > 0) for name in names]
    rows = tuple(
        MeasurementRow(Zone.NUMERALS, name, 0.5, "ratio", 9, 6, 80.0 if up else 10.0, 90.0 if up else 20.0, lean, band,
            f"{side}: {name} so.", (np.array([[150.0 + 30 * k, 100.0], [150.0 + 30 * k, 160.0]]),))
        for k, (name, up) in enumerate(zip(names, high, strict=True))
    )  # fmt: skip
    zones = {zone: ZoneFacts(0.0, 0.0, 0) for zone in ZONES} | {Zone.NUMERALS: ZoneFacts(0.2, 0.0, 9)}
    return evidence_table(MeasuredEvidence(rows, zones, 450.0, 0.002, 240), diameter_mm=44.87)


def both(net=1.28, second=0.4, **kind):
    return bearing(Verdict(Judged(40, net, **kind), {}), Opinion(second, False, ("a",) * 9, ()))


class Page(html.parser.HTMLParser):
    """Tags with their attributes, and the text outside style and script."""

    def __init__(self, text):
        super().__init__()
        self.tags, self.words, self._inside = [], "", None
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        self._inside = tag

    def handle_data(self, data):
        if self._inside not in ("style", "script"):
            self.words += " ".join(data.split()) + " "


def test_page_says_call_support_and_number():
    extras = PageExtras(resolution="Here the dial is 280 pixels across: too few.", hashes=[("watch.jpg", "cd" * 32)])
    page = Page(page_text(sample(), photo(), signed_map(), crops(), MODEL, extras))
    for words in (
        "This dial looks painted by hand.",
        "At least moderate support. Of dials that look like this, at most one in 20 would be printed",
        "+1.28 or more",
        "Probability of hand painting at prior 1:1",
        "0.95 or more",
        "at least 19 times more probable",
        "Here the dial is 280 pixels across: too few.",
        "not an authentication",
        "Photograph watch.jpg, SHA-256 " + "cd" * 32,
        "ab" * 32,
    ):
        assert words in page.words
    # zones in the examiner's order; those with nothing to show come after, each once
    shown = page.words[page.words.index("Numerals look painted by hand") :]
    order = [
        shown.index(f"{name} ")
        for name in ("Numerals", "Minute track", "Rest of the dial", "Signature :", "Seconds bit :")
    ]
    assert order == sorted(order) and page.words.count("Too small in watch.jpg.") == 1


def test_page_without_dial_map_or_numbers():
    dial = sample(
        call="undetermined",
        probability_hand=None,
        log10_lr=None,
        support="no support either way",
        geometry=None,
        zones=[],
        warnings=[],
    )
    page = Page(page_text(dial, photo(), None, [], MODEL))
    assert "No dial could be judged" in page.words and "A dial that can be made out." in page.words
    assert "prior 1:1 0" not in page.words and "Warnings" not in page.words


def test_page_of_one_dial_says_what_each_photograph_gave():
    rows = [
        {"photo": "a/whole.jpg", "role": "whole view", "reason": "", "squares": 40, "place": None},
        {
            "photo": "a/<b>.jpg",
            "role": "laid on it",
            "reason": "",
            "squares": 60,
            "place": {"zones": {"signature": 1.0}},
        },
        {"photo": "a/c.jpg", "role": "another dial", "reason": "It does not fit.", "squares": 0, "place": None},
        {"photo": "a/d.jpg", "role": "not placed", "reason": "it fits nowhere", "squares": 0, "place": None},
    ]
    page = Page(page_text(sample(photographs=rows, dial="no. 41"), photo(), None, [], MODEL))
    assert "Dial no. 41 , 4 photographs" in page.words
    assert "whole.jpg : whole view; 40 of the 100 small squares judged come from it." in page.words
    assert "<b>.jpg : laid on the whole view (signature); 60 of the 100" in page.words
    assert "c.jpg : perhaps of another dial; left out. It does not fit." in page.words
    assert "d.jpg : left out, for it fits nowhere. Take it again with more of the design" in page.words
    assert "The photographs" not in Page(page_text(sample(), photo(), None, [], MODEL)).words


def test_page_shows_what_was_measured():
    text = page_text(sample(), photo(), None, [], MODEL, PageExtras(evidence=measured(), bearing=both()))
    page = Page(text)
    for words in (
        "What was measured",
        "3 measured: 3 lean to the hand.",
        "Leans to the hand : thin against thick so.",
        "on 9 thin strokes",
        "point the same way",
        "They change no number of it.",
        "Strokes measured: 3",
    ):
        assert words in page.words, words
    assert text.count('class="strip"') == 3 and text.count('d="M150.0 100.0L150.0 160.0"') == 2  # light edge and line
    assert "What was measured" not in Page(page_text(sample(), photo(), None, [], MODEL)).words
    assert "Nothing was measured: no dial was found." in page_text(
        sample(), photo(), None, [], MODEL, PageExtras(evidence=nothing_measured("no dial was found"))
    )


def test_page_says_plainly_that_measurements_lean_the_other_way():
    extras = PageExtras(bearing=both(second=-0.6), evidence=measured(lean=-0.5))
    page = Page(page_text(sample(), photo(), None, [], MODEL, extras))
    head = page.words[: page.words.index("Magnifier, ")]
    assert "looks painted by hand" in head and "one in 20" in head and "4.0 to 1" in head  # the call stands
    assert "The measurements lean the other way" in head and page.words.count("lean the other way") == 1
    agreeing = Page(page_text(sample(), photo(), None, [], MODEL, PageExtras(bearing=both())))
    assert "lean the other way" not in agreeing.words


def test_page_gives_no_number_beside_withheld():
    dial = sample(call="undetermined", support="withheld, the photograph does not carry the evidence")
    for extras in (None, PageExtras(bearing=both(withheld=True))):
        page = Page(page_text(dial, photo(), None, [], MODEL, extras))
        assert "1.28" not in page.words and "0.95" not in page.words and "times more probable" not in page.words
        assert "one in" not in page.words


def test_places_that_a_person_marked_are_drawn_where_they_lie():
    """On the page and in the report, in px of the picture they show."""
    place = {"what": "hand", "polygon": [[60.0, 60.0], [120.0, 60.0], [120.0, 160.0]]}
    record = drawable(sample() | {"known": {"places": [place]}}, 2.0, (20.0, 10.0))
    corners = [[80.0, 100.0], [200.0, 100.0], [200.0, 300.0]]
    assert record["known"]["places"] == [{**place, "polygon": corners}]
    text = page_text(record, photo(), None, [], MODEL)
    assert text.count('points="80.0,100.0 200.0,100.0 200.0,300.0"') == 2
    assert "by-person" not in page_text(sample(), photo(), None, [], MODEL).partition("</style>")[2]
    changed = framed(photo(), [], record["known"]["places"]) != framed(photo(), [])
    rows, columns = np.nonzero(changed.any(axis=2))
    assert (rows.min(), columns.min()) == pytest.approx((100, 80), abs=3)
    assert (rows.max(), columns.max()) == pytest.approx((299, 200), abs=3)


def test_page_asks_for_nothing_outside_itself():
    text = page_text(sample(), photo(), signed_map(), crops(), MODEL, PageExtras(evidence=measured(), bearing=both()))
    for tag, attributes in Page(text).tags:
        for name in ("src", "href", "action", "data", "poster", "srcset"):
            assert attributes.get(name, "data:").startswith(("data:", "#")), (tag, attributes[name][:60])
    assert not re.search(r"https?://|url\(|@import|fetch\(|\beval\(", text)
    assert len(text) < 2_000_000


def test_names_from_outside_stay_text():
    dial = sample(EVIL)
    dial["zones"].append(zone("<b>odd</b>", polygon=ring(20)))
    crop = ZoneCrop(EVIL, photo()[:20, :20], None, EVIL)
    page = Page(page_text(dial, photo(), signed_map(), [crop], MODEL))
    assert not [tag for tag, attributes in page.tags if attributes.get("src") == "x" or tag == "b"]
    assert not [name for _, attributes in page.tags for name in attributes if name.startswith("on")]
    # Shown as it is, but for the mark that turns the text round.
    assert EVIL.replace("\u202e", "?") in page.words


def test_outline_marks_twelve_where_the_rotation_says():
    text = page_text(sample(), photo(), None, [], MODEL)
    x, y = map(float, re.search(r'd="M([\d.]+) ([\d.]+)L', text).groups())
    # Turned 90 degrees clockwise, 12 o'clock is to the right.
    assert (x, y) == pytest.approx((200 + 0.97 * 140, 150), abs=0.1)


def test_files_are_kept_unless_overwritten(tmp_path):
    path = tmp_path / "page.html"
    path.write_text("mine")
    with pytest.raises(OutputError, match="--overwrite"):
        write_page(path, sample(), photo(), None, [], MODEL)
    assert path.read_text() == "mine"
    assert write_page(path, sample(), photo(), None, [], MODEL, overwrite=True) == path
    assert path.read_text(encoding="utf-8").startswith("<!doctype html>")
    with pytest.raises(OutputError, match="a folder that exists"):
        write_page(tmp_path / "no" / "page.html", sample(), photo(), None, [], MODEL)
    with pytest.raises(ParameterError, match=r"added has shape \(5, 5\)"):
        write_page(path, sample(), photo(), np.ones((5, 5), np.float32), [], MODEL, overwrite=True)
    assert [entry.name for entry in tmp_path.iterdir()] == ["page.html"]


def test_map_is_told_apart_without_colour():
    rgba = pictures.overlay(signed_map(), 1.0)
    hand, blank, printed = rgba[60:140, 60:340, 3], rgba[:40, :, 3], rgba[205:245, 60:340, 3]
    assert hand.min() == hand.max() > 0 and not blank.any()
    assert len(np.unique(printed)) == 2  # stripes
    assert pictures.full_strength(np.zeros((3, 3), np.float32)) == 0.0
    assert not pictures.overlay(np.zeros((3, 3), np.float32), 0.0).any()


@pytest.mark.parametrize(("second", "said"), [(1.7, "+1.70 or more"), (-1.7, "−1.70 or less")])
def test_a_number_cut_off_says_so(second, said):
    cut = bearing(Verdict(Judged(40, 2.4, capped=True), {}), Opinion(second, True, ("a",) * 9, ()))
    text = page_text(sample(), photo(), None, [], MODEL, PageExtras(evidence=measured(), bearing=cut))
    assert said in Page(text).words


@needs_browser
def test_browser_runs_our_script_and_nothing_else(tmp_path):
    path = tmp_path / "a.html"
    write_page(path, sample(EVIL), photo(), signed_map(), crops(), MODEL)
    dom, console = opened(path, tmp_path / "profile")
    assert console == []
    assert "<title>&lt;img" in dom  # the name's handler would have set it to 1
    assert '<p class="lens-help" data-lens-help="">' in dom  # unhidden by our script: the policy let it run


PROBE = """<script>addEventListener("load", () => {
  const stage = document.querySelector("[data-stage]"), lens = document.querySelector("[data-lens]");
  const press = (key) => stage.dispatchEvent(new KeyboardEvent("keydown", {key, bubbles: true, shiftKey:
  true})); const shown = (name) => getComputedStyle(document.querySelector(name)).display !== "none"; const
  told = {wide: document.documentElement.scrollWidth, window: innerWidth, before: lens.hidden};
  stage.focus(); press("ArrowRight"); press("ArrowDown"); press("+"); told.after = lens.hidden; told.left =
  lens.style.left; told.top = lens.style.top; const pixels = lens.getContext("2d").getImageData(0, 0,
  lens.width, lens.height).data; told.drawn = new Set(pixels).size; press("Escape"); told.put_away =
  lens.hidden; told.layers = ["loudest", "outline", "zones", "map", "strokes", "unlike", "odd"].map((name) => {
    const on = shown(".stage ." + name); document.getElementById("layer-" + name).click();
    return [on, shown(".stage ." + name)];
  });
  document.getElementById("layer-map").click();
  told.one_map = ["map", "unlike", "odd"].map((name) => shown(".stage ." + name));
  parent.document.body.dataset.told = JSON.stringify(told);
})</script></body>"""


@needs_browser
@pytest.mark.parametrize("width", [390, 1200])
def test_browser_magnifier_layers_and_width(tmp_path, width):
    extras = PageExtras(
        evidence=measured(), bearing=both(second=-0.6), unlike=4 * signed_map(), odd=signed_map(),
        shares=Shares(0.1, {"numerals": 1.18}),
    )  # fmt: skip
    text = page_text(sample("a-very-long-name-" * 8 + ".jpg"), photo(), signed_map(), crops(), MODEL, extras)
    # The probe is not ours, so the policy must go for it to run.
    text = re.sub(r'<meta http-equiv="Content-Security-Policy"[^>]*>', "", text).replace("</body>", PROBE)
    path = tmp_path / "probe.html"
    # A frame, because a browser window is not made narrower than about 500 px.
    frame = f'<!doctype html><body><iframe width="{width}" height="800" style="border:0" srcdoc="{{}}"></iframe>'
    path.write_text(frame.format(html.escape(text)), encoding="utf-8")
    dom, console = opened(path, tmp_path / "profile")
    told = json.loads(html.unescape(re.search(r'data-told="([^"]*)"', dom).group(1)))
    assert console == []
    assert told["window"] == width and told["wide"] <= width
    assert (told["before"], told["after"], told["put_away"]) == (True, False, True)
    assert (told["left"], told["top"]) == ("55%", "55%") and told["drawn"] > 20
    assert told["layers"] == [[True, False]] + [[False, True]] * 6  # the dial is plain but for where to look
    assert told["one_map"] == [True, False, False]  # the other maps give way


TAB, SPACE = "\ue004", " "
SHOWN = (
    "[...document.querySelectorAll('.strokes .trace path')].map(p => getComputedStyle(p).display !== 'none' && "
    "getComputedStyle(document.querySelector('.strokes')).display !== 'none')"
)


@pytest.mark.skipif(not (CHROMIUM and DRIVER), reason="no Chromium with its driver here")
@pytest.mark.parametrize("width", [390, 1200])
def test_strokes_measured_are_reached_by_keys(tmp_path, width):
    path = tmp_path / "a.html"
    extras = PageExtras(evidence=measured(), bearing=both())
    write_page(path, sample(), photo(), signed_map(), crops(), MODEL, extras=extras)

    def to(selector):
        for _ in range(40):
            browser.press(TAB)
            if browser.run("return document.activeElement.matches(arguments[0])", selector):
                return
        raise AssertionError(f"no Tab leads to {selector}")

    with Browser(tmp_path / "profile", width) as browser:
        browser.open(path.as_uri())
        assert browser.run(f"return {SHOWN}") == [False] * 3
        to(".marks summary")
        browser.press(ENTER)
        to("#layer-strokes")
        browser.press(SPACE)
        assert browser.run(f"return {SHOWN}") == [True] * 3
        to("tr + tr .show")
        browser.press(ENTER)
        only = browser.run(f"return {SHOWN}")
        assert sum(only) == 1
        assert browser.run("return document.activeElement.hasAttribute('data-stage')")
        browser.press("+")  # the magnifier draws them too
        assert not browser.run("return document.querySelector('[data-lens]').hidden")
        to("[data-back]")
        browser.press(ENTER)
        assert browser.run("return document.activeElement.matches('.show')")
        browser.run("document.querySelector('[data-all]').click()")
        assert browser.run(f"return {SHOWN}") == [True] * 3
        assert (
            browser.run("return performance.getEntriesByType('resource').filter(e => !e.name.startsWith('data:'))")
            == []
        )
        assert browser.run("return document.documentElement.scrollWidth") <= width
        assert browser.console() == []


@pytest.mark.skipif(not (CHROMIUM and DRIVER), reason="no Chromium with its driver here")
@pytest.mark.parametrize(("width", "height"), [(390, 844), (1280, 900)])
def test_the_first_screen_holds_call_dial_loudest_and_what_is_missing(tmp_path, width, height):
    """A square dial, as most are; without scrolling all of it is seen but for the list of how to get it on a phone."""
    extras = PageExtras(shares=Shares(0.1, {"numerals": 1.18}))
    square = sample(geometry=None, zones=[zone("numerals")])
    path = tmp_path / "a.html"
    write_page(path, square, photo()[:, :300], None, crops()[:1], MODEL, extras=extras)
    with Browser(tmp_path / "profile", width, height) as browser:
        browser.open(path.as_uri())
        for selector in ("h1", ".strength", ".stage", ".loud", "#missing > p"):
            box = browser.box(selector)
            assert 0 <= box["top"] and box["bottom"] <= height and box["right"] <= width, selector
        stage = browser.box(".stage")
        assert stage["width"] > 0.92 * width or stage["width"] > 500


def test_how_a_print_was_made_is_said_of_prints_alone():
    """With its reason on a page that calls the dial printed; not on others, and not where the number is withheld."""
    found = {"call": "photographic", "reason": "What is seen is at least 21 times more probable.", "log10_lr": 1.3}
    printed = sample(call="printed", log10_lr=-1.3, probability_hand=0.05, support="moderate support for printing")
    sentence = "Process of print: photographic. What is seen is at least 21 times more probable."
    for dial, said in (
        (printed | {"print_process": found}, True),
        (printed | {"print_process": None}, False),
        (printed | {"print_process": found, "support": WITHHELD}, False),
        (sample(print_process=found), False),
    ):
        assert (sentence in page_text(dial, photo(), None, [], MODEL)) == said


def test_the_tags_of_zones_are_clear_of_each_other():
    """Rings close together, and a zone of one corner, which has nowhere else to go."""
    dial = sample()
    dial["zones"] = [zone("signature", polygon=ring(60)), zone("numerals", polygon=ring(112)),
                     zone("minute track", polygon=ring(116)), zone("seconds bit", polygon=ring(108)[:1])]  # fmt: skip
    text = page_text(dial, photo(), None, [], MODEL)
    places = dict(re.findall(r'class="tag \w+" style="(left:[\d.]+%;top:[\d.]+%)">([^<]+)<', text))
    at = {name: tuple(float(n) for n in re.findall(r"[\d.]+", where)) for where, name in places.items()}
    assert at["Signature"] == (50.0, 30.0) and at["Numerals"][0] == 50.0
    for one, other in itertools.combinations(("Signature", "Numerals", "Minute track"), 2):
        beside, below = (abs(a - b) for a, b in zip(at[one], at[other], strict=True))
        assert 4 * beside >= 88 or 3 * below >= 5.5 * 4 - 0.1  # of 400 by 300 px
    left, top = at["Minute track"]
    assert min(math.dist((4 * left, 3 * top), corner) for corner in ring(116)) < 0.1  # still on its own ring
    assert at["Seconds bit"] == (50.0, pytest.approx(14.0))
