"""The loupe in Chromium: lengths on a dial of known size, by mouse, key and finger; the tilt is taken out."""

from __future__ import annotations

import math

import cv2
import numpy as np
import pytest
from examine_read import read_already
from label_page_driven import needs_browser
from test_examine_page import centre, click, served
from web_driver import ENTER, RIGHT, Browser

SIDE, RADIUS, MM = 1000, 400, 40.0  # a dial of 40 mm: 20 px to the mm
BAR = (300, 321)  # px: 21 px wide, 1.05 mm
MEASURED = "document.getElementById('measured').textContent"
OPENED = "document.getElementById('loupe-wait').hidden && document.getElementById('loupe').open"


def dial():
    image = np.full((SIDE, SIDE, 3), 60, np.uint8)
    cv2.circle(image, (SIDE // 2, SIDE // 2), RADIUS, (235, 235, 230), -1)
    image[400:600, BAR[0] : BAR[1]] = 20
    return image


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    folder = tmp_path_factory.mktemp("loupe") / "dials"
    read_already(folder, dial(), {"outline": [500.0, 500.0, 400.0, 400.0, 0.0]}, size_mm=MM)
    return folder


def opened(browser, url):
    browser.open(url)
    browser.wait("document.querySelector('.dials a') !== null")
    click(browser, ".dials a")
    browser.wait("!document.getElementById('open-loupe').disabled && document.getElementById('strip').children.length")
    click(browser, "#open-loupe")
    browser.wait(OPENED, 60)


def onto(browser, x, y):
    """Where a px of the photograph lies on the page, the whole photograph being shown."""
    box = browser.box("#lens")
    zoom = min(box["width"], box["height"]) / SIDE
    return (
        box["left"] + box["width"] / 2 + (x - SIDE / 2) * zoom,
        box["top"] + box["height"] / 2 + (y - SIDE / 2) * zoom,
    ), zoom


def length(browser):
    return float(browser.run(f"return {MEASURED}").split()[0])


@needs_browser
def test_lengths_by_mouse_key_and_finger(folder, tmp_path):
    with served(folder) as url, Browser(tmp_path / "profile") as browser:
        opened(browser, url)
        # a distance by the mouse: 200 px are 10 mm
        click(browser, "#tool-distance")
        for x in (400, 600):
            place, zoom = onto(browser, x, 450)
            browser.point(*place, click=True)
        browser.wait(f"{MEASURED}.endsWith('mm')")
        assert abs(length(browser) - 10) < 0.05 / zoom + 0.01
        # the bar is as wide as it was drawn, wherever the points lie
        click(browser, "#tool-width")
        for x in (280, 350):
            browser.point(*onto(browser, x, 500)[0], click=True)
        browser.wait(f"{MEASURED}.endsWith('wide')")
        assert abs(length(browser) - (BAR[1] - BAR[0]) / 20) < 0.03
        browser.point(*onto(browser, 600, 550)[0], click=True)
        browser.point(*onto(browser, 700, 550)[0], click=True)
        browser.wait(f"{MEASURED}.startsWith('No dark stroke')")
        # a right angle
        click(browser, "#tool-angle")
        for x, y in ((600, 500), (500, 500), (500, 600)):
            browser.point(*onto(browser, x, y)[0], click=True)
        browser.wait(f"{MEASURED}.endsWith('°')")
        assert abs(float(browser.run(f"return {MEASURED}")[:-1]) - 90) < 1
        # by the keyboard: the cross stands in the middle, each arrow moves 40 px of the screen
        click(browser, "#loupe-whole")
        click(browser, "#tool-distance")
        browser.run("document.getElementById('lens').focus()")
        zoom = onto(browser, 0, 0)[1]
        browser.press(ENTER, RIGHT, RIGHT, ENTER)
        browser.wait(f"{MEASURED}.endsWith('mm')")
        assert abs(length(browser) - 80 / zoom / 20) < 0.02
        browser.press("\ue003")
        browser.wait(f"{MEASURED} === 'Set two points.'")
        # by two fingers: twice as near
        click(browser, "#loupe-whole")
        before = browser.run("return document.getElementById('loupe-scale').textContent")
        x, y = centre(browser, "#lens")
        browser.touch([(x - 50, y), (x - 75, y), (x - 100, y)], [(x + 50, y), (x + 75, y), (x + 100, y)])
        after = browser.run("return document.getElementById('loupe-scale').textContent")
        assert 1.6 < float(after.split()[2]) / float(before.split()[2]) < 2.4
        assert "1 mm is 20 px" in after
        # and a tap sets a point
        browser.touch([(x, y)])
        browser.touch([(x + 40, y)])
        browser.wait(f"{MEASURED}.endsWith('mm')")
        click(browser, "#loupe-grid")
        browser.wait("document.getElementById('loupe-scale').textContent.includes('Grid: ')")
        browser.press("\ue00c")
        browser.wait("!document.getElementById('loupe').open")
        assert browser.console() == []


@needs_browser
def test_the_tilt_is_taken_out_and_px_stand_without_a_size(folder, tmp_path):
    with served(folder) as url, Browser(tmp_path / "profile") as browser:
        opened(browser, url)
        shape = {"center_px": [500, 400], "axes_px": [300, 150], "ellipse_angle_deg": 30, "rotation_deg": 75}
        ends = browser.run(
            """const s = scaleOf(arguments[0], 40); const rim = [];
            for (let k = 0; k < 36; k += 1) {
              const t = k * Math.PI / 18, c = Math.cos(Math.PI / 6), n = Math.sin(Math.PI / 6);
              const [p, q] = [300 * Math.cos(t), 150 * Math.sin(t)];
              const at = [500 + p * c - q * n, 400 + p * n + q * c];
              rim.push([s.onto(at), s.back(s.onto(at)), at]);
            }
            const a = 75 * Math.PI / 180;
            const twelve = s.onto([500 + 50 * Math.sin(a), 400 - 50 * Math.cos(a)]);
            return [rim, twelve, scaleOf(arguments[0], null).unit];""",
            shape,
        )
        rim, twelve, unit = ends
        for on_dial, back, place in rim:  # the outline is a circle of 20 mm, and comes back as it was
            assert math.hypot(*on_dial) == pytest.approx(20)
            assert back == pytest.approx(place)
        laid = {"corners": [[-0.5, -0.2], [0.5, -0.2], [0.5, 0.3], [-0.5, 0.3]], "width": 2000, "height": 1000}
        length, back = browser.run(
            """const s = scaleOf(null, 40, arguments[0]); const p = s.onto([0, 0]), q = s.onto([1000, 0]);
            return [Math.hypot(p[0] - q[0], p[1] - q[1]), s.back(s.onto([123, 456]))];""",
            laid,
        )
        assert length == pytest.approx(10) and back == pytest.approx([123, 456])  # half of a radius of 20 mm
        assert twelve[0] == pytest.approx(0) and twelve[1] < 0  # 12 is up
        assert unit == "px"
        # a slanted ramp: an edge half way down is found between pixels
        found = browser.run(
            """const light = ([x]) => Math.min(1, Math.abs(x - 50.25) / 10);
            return [strokeBetween(light, [20, 0], [90, 0]), strokeBetween(() => 0.5, [20, 0], [90, 0])];"""
        )
        (first, last), none = found
        assert first[0] == pytest.approx(45.25, abs=0.15) and last[0] == pytest.approx(55.25, abs=0.15)
        assert none is None
