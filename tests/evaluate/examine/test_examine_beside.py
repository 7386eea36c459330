"""Two dials side by side in Chromium: one place of both at one place of the panes, whatever their scale and turn."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from axe import serious
from examine_read import read_already
from label_page_driven import needs_browser
from test_examine_page import centre, click, served
from web_driver import RIGHT, Browser

from dialtell.evaluate.examine.kept_files import KeptFiles

SAID = "document.getElementById('beside-scale').textContent"
# in one pane, the middle of what is red, px shown from its middle; null where nothing is
RED = """
const canvas = document.querySelectorAll('#beside-both canvas')[arguments[0]];
const { width, height } = canvas;
const copy = new OffscreenCanvas(width, height).getContext('2d', { willReadFrequently: true });
copy.drawImage(canvas, 0, 0);
const { data } = copy.getImageData(0, 0, width, height);
let [n, x, y] = [0, 0, 0];
for (let k = 0; k < width * height; k += 1)
  if (data[4 * k + 3] > 200 && data[4 * k] > 150 && data[4 * k + 1] < 90) {
    n += 1; x += k % width + 0.5; y += Math.floor(k / width) + 0.5;
  }
return n ? [x / n - width / 2, y / n - height / 2] : null;
"""


def dial(side, radius, mark):
    """A dial in the middle of a photograph, something red on it."""
    image = np.full((side, side, 3), 60, np.uint8)
    cv2.circle(image, (side // 2, side // 2), radius, (235, 235, 230), -1)
    cv2.circle(image, mark, radius // 30, (0, 0, 230), -1)
    return image


@pytest.fixture
def folder(tmp_path):
    """Two dials of 40 and 30 mm with a mark 10 mm to the right of their middle; on the second photograph 12 o'clock
    stands on the right, so there it lies below. A third has no place."""
    folder = tmp_path / "dials"
    shape = {"outline": [500.0, 500.0, 400.0, 400.0, 0.0], "twelve_deg": 0.0}
    read_already(folder, dial(1000, 400, (700, 500)), shape, size_mm=40.0, name="First")
    shape = {"outline": [300.0, 300.0, 240.0, 240.0, 0.0], "twelve_deg": 90.0}
    read_already(folder, dial(600, 240, (300, 460)), shape, size_mm=30.0, name="Second", maker="Invented")
    with KeptFiles(folder).opened() as dials:
        dials.change_dial(dials.new_dial(blind=True), {"name": "Empty"})
    return folder


def opened(browser, url):
    browser.open(url)
    browser.wait("document.querySelector('.dials a[href=\"#dial-1\"]') !== null")
    click(browser, ".dials a[href='#dial-1']")
    browser.wait("document.getElementById('photo').naturalWidth > 0")
    click(browser, "#open-beside")
    shown(browser)


def shown(browser):
    """Both photographs are drawn in full."""
    browser.wait(f"(() => {{ const red = (...arguments) => {{ {RED} }}; return red(0) && red(1); }})()", 60)


def view(browser):
    return [float(part) for part in browser.run("return document.getElementById('beside-both').dataset.view").split()]


def red(browser):
    return [browser.run(RED, side) for side in (0, 1)]


@needs_browser
@pytest.mark.parametrize("width", [1280, 390])
def test_both_are_locked_in_scale_and_turn(folder, tmp_path, width):
    with served(folder) as url, Browser(tmp_path / "profile", width=width) as browser:
        opened(browser, url)
        options = "return [...document.getElementById('beside-dial').options].map(option => option.text)"
        assert browser.run(options) == ["Second"]  # a dial without photographs cannot stand there
        # ten millimetres to the right in both, and 12 up
        zoom = view(browser)[2]
        for x, y in red(browser):
            assert (x, y) == pytest.approx((10 * zoom, 0), abs=1.5)
        assert browser.run(f"return {SAID}").startswith("Both at one scale")
        # what moves one moves both: by mouse, wheel, key and button
        x, y = centre(browser, "#beside-both .glass:nth-child(2)")
        browser.drag((x, y), (x - 40, y + 16))
        for place in red(browser):
            assert place == pytest.approx((10 * zoom - 40, 16), abs=2)
        browser.run("document.getElementById('beside-both').focus()")
        browser.press(RIGHT, "+")
        shown(browser)
        one, other = red(browser)
        assert one == pytest.approx(other, abs=2) and view(browser)[2] == pytest.approx(1.4 * zoom, rel=0.01)
        # two fingers on the first
        x, y = centre(browser, "#beside-both .glass:nth-child(1)")
        browser.touch([(x - 20, y), (x - 25, y), (x - 30, y)], [(x + 20, y), (x + 25, y), (x + 30, y)])
        assert 1.25 < view(browser)[2] / zoom / 1.4 < 1.75
        browser.press("0")
        assert view(browser)[2] == pytest.approx(zoom, rel=0.01)
        assert serious(browser) == []
        assert browser.run("return document.documentElement.scrollWidth") <= width
        # found by a word, or not
        click(browser, "#beside-find")
        browser.press(*"nothing like it")
        browser.wait(f"{SAID}.startsWith('No other dial is like that')")
        assert browser.run(RED, 1) is None and browser.run(RED, 0) is not None
        browser.run("document.getElementById('beside-find').value = ''")
        browser.press("i", "n", "v")
        browser.wait(f"{SAID}.startsWith('Both at one scale')")
        browser.press("\ue00c", "\ue00c")
        browser.wait("!document.getElementById('beside').open")
        # without a size both are as large: half of the radius, and two thirds
        with KeptFiles(folder).opened() as dials:
            dials._base.execute("UPDATE examined_dial SET size_mm = NULL WHERE id = 2")
        click(browser, "#open-beside")
        shown(browser)
        zoom = view(browser)[2]
        assert browser.run(f"return {SAID}").startswith("Shown as if both dials were equally large: give the size of S")
        for place, share in zip(red(browser), (1 / 2, 2 / 3), strict=True):
            assert place == pytest.approx((share * zoom, 0), abs=1.5)
        assert browser.console() == []
