"""Places marked in Chromium, by mouse, key and finger: kept where they were drawn, and what was read follows."""

from __future__ import annotations

import cv2
import pytest
from axe import serious
from checkout import ROOT
from examine_read import read_already
from label_page_driven import needs_browser
from test_examine_page import IDLE, centre, click, served
from web_driver import DOWN, ENTER, ESCAPE, RIGHT, Browser

from dialtell.evaluate.examine.record import ExaminedDials

LISTED = "[...document.querySelectorAll('.spot-list li')].map(li => li.firstChild.textContent.trim())"


@pytest.fixture
def folder(tmp_path):
    folder = tmp_path / "dials"
    read_already(folder, cv2.imread(str(ROOT / "evaluate/examples/painted.jpg")), {})
    return folder


def opened(browser, url):
    browser.open(url)
    browser.wait("document.querySelector('.dials a') !== null")
    click(browser, ".dials a")
    browser.wait("document.getElementById('photo').naturalWidth > 0")
    click(browser, "#spots summary")
    browser.run("document.getElementById('stage').scrollIntoView({block: 'start'})")


def kept(folder):
    with ExaminedDials(folder / "dials.collection") as dials:
        (photo,) = dials.photographs(1)
        return photo, photo["marked"].get("places", [])


def on_page(browser, photo, x, y):
    """Where a place of the photograph lies on the page, as shares of it."""
    box = browser.box("#photo")
    share = photo["width"] / box["width"]
    return (box["left"] + x * box["width"], box["top"] + y * box["height"]), share


@needs_browser
@pytest.mark.slow
def test_places_by_mouse_key_and_finger(folder, tmp_path):
    with served(folder) as url, Browser(tmp_path / "profile") as browser:
        opened(browser, url)
        photo, _ = kept(folder)
        # by the mouse, corner after corner; the first one again closes it
        browser.run("document.getElementById('spot-by').value = 'Anna'")
        click(browser, "#spot-draw")
        browser.run("document.getElementById('stage').scrollIntoView({block: 'start'})")
        shares = [(0.4, 0.5), (0.6, 0.5), (0.6, 0.6)]
        for x, y in (*shares, shares[0]):
            place, share = on_page(browser, photo, x, y)
            browser.point(*place, click=True)
        browser.wait(f"{LISTED}.length === 1")
        (place,) = kept(folder)[1]
        wanted = [(x * photo["width"], y * photo["height"]) for x, y in shares]
        assert (place["what"], place["by"]) == ("hand", "Anna") and len(place["polygon"]) == 3
        for got, want in zip(place["polygon"], wanted, strict=True):
            assert got == pytest.approx(want, abs=1.5 * share)
        assert browser.run(f"return {LISTED}")[0].startswith("A hand, marked by Anna on ")
        # what was read follows, and says so
        browser.wait(f"{IDLE} && document.getElementById('warnings').textContent.includes('left out: hand')", 90)
        photo, _ = kept(folder)
        assert photo["document"]["known"]["places"] == [place]
        # drawn round in one go, as another part's
        browser.run("document.getElementById('spot-what').value = 'signature'")
        click(browser, "#spot-draw")
        browser.run("document.getElementById('stage').scrollIntoView({block: 'start'})")
        ring = [(0.3, 0.3), (0.5, 0.3), (0.5, 0.4), (0.3, 0.4), (0.3, 0.31)]
        browser.drag(*(on_page(browser, photo, *ring[k])[0] for k in (0, 1)))  # a line is no outline
        browser.wait("document.getElementById('spot-said').textContent.startsWith('That encloses nothing')")
        browser.touch([on_page(browser, photo, *place)[0] for place in ring])
        browser.wait(f"{LISTED}.length === 2")
        assert kept(folder)[1][1]["what"] == "signature"
        # by the keyboard: a square about the middle, closed where it began
        browser.run(
            "document.getElementById('spot-what').value = 'stain'; document.getElementById('spot-draw').focus()"
        )
        browser.press(ENTER)
        browser.wait("document.activeElement.id === 'drawn'")
        steps = [RIGHT, RIGHT, ENTER, "\ue003", DOWN, DOWN, ENTER, RIGHT, RIGHT, ENTER]
        browser.press(ENTER, ENTER, *steps, ENTER)  # one corner twice is one, another is taken back
        browser.wait(f"{LISTED}.length === 3")
        assert browser.run("return document.activeElement.id") == "spot-draw"
        corners = kept(folder)[1][2]["polygon"]
        far = [20 * share * side for side in (1, 2)]  # two arrows' way
        x, y = photo["width"] / 2, photo["height"] / 2
        for got, want in zip(corners, [(x, y), (x + far[0], y + far[0]), (x + far[1], y + far[0])], strict=True):
            assert got == pytest.approx(want, abs=0.2)
        assert serious(browser) == []
        # Escape ends without a mark
        browser.press(ENTER, ENTER)
        browser.press(ESCAPE)
        browser.wait("document.getElementById('spot-done').hidden")
        # taken back one by one, and all away
        click(browser, "#spot-undo")
        browser.wait(f"{LISTED}.length === 2")
        click(browser, ".spot-list li button")
        browser.wait(f"{LISTED}.length === 1")
        click(browser, "#spot-clear")
        browser.wait(f"{LISTED}.length === 0")
        click(browser, "#spot-undo")
        browser.wait(f"{LISTED}.length === 1")
        browser.wait(IDLE, 90)
        assert [one["what"] for one in kept(folder)[1]] == ["signature"]
        assert browser.console() == []
    with served(folder) as url, Browser(tmp_path / "narrow", width=390) as browser:
        opened(browser, url)
        browser.wait(f"{LISTED}.length === 1")
        # by a finger, drawn round
        browser.run("document.getElementById('spot-what').value = 'reflection'")
        click(browser, "#spot-draw")
        photo, _ = kept(folder)
        ring = [(0.5, 0.4), (0.6, 0.5), (0.5, 0.6), (0.4, 0.5), (0.5, 0.41)]
        browser.touch([on_page(browser, photo, x, y)[0] for x, y in ring])
        browser.wait(f"{LISTED}.length === 2")
        assert kept(folder)[1][1]["what"] == "reflection" and kept(folder)[1][1]["by"] == "Anna"
        assert browser.run("return document.documentElement.scrollWidth") == 390
        assert serious(browser) == []
        x, y = centre(browser, "#handle-centre")  # handles can be taken again
        assert browser.run("return document.elementFromPoint(arguments[0], arguments[1]).classList[0]", x, y) in (
            "handle", "grip"
        )  # fmt: skip
        assert browser.console() == []
