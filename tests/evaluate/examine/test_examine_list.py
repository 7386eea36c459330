"""The list of dials in Chromium, by keyboard: the map of decades as a filter, dials chosen and laid on each other."""

from __future__ import annotations

import cv2
import pytest
from axe import serious
from checkout import ROOT
from examine_read import read_already
from label_page_driven import needs_browser
from test_examine_page import served
from trials.speed.examine_filled import filled
from web_driver import ENTER, RIGHT, Browser

from dialtell.evaluate.collection.file import CollectionFile
from dialtell.evaluate.examine.kept_files import COLLECTION

TAB, END, SPACE = "\ue004", "\ue010", " "
FOUND = "document.getElementById('found').textContent"
NOW = "document.getElementById('plates-now').textContent"
FIRST = "document.querySelector('#decades button:enabled')"
WIDE = "return [innerWidth, document.documentElement.scrollWidth]"


def focus(browser, selector):
    browser.run("document.querySelector(arguments[0]).focus()", selector)


@needs_browser
@pytest.mark.slow
@pytest.mark.parametrize("width", [390, 1280])
def test_the_map_is_a_filter_by_keyboard_and_by_mouse(tmp_path, width):
    files = filled(tmp_path / "dials", 300)
    with files.opened() as dials:
        years = [row["year"] for row in dials.rows("SELECT year FROM examined_dial", [])]
    starts = sorted({year // 10 * 10 for year in years if year is not None})
    with served(files.folder) as url, Browser(tmp_path / "profile", width) as browser:
        browser.open(url)
        browser.wait(f"{FOUND}.startsWith('Dials 1 to 60 of 300')")
        strips = "return [...document.querySelectorAll('#decades button')].map(b => b.value)"
        assert browser.run(strips) == [*map(str, range(starts[0], starts[-1] + 10, 10)), "0"]
        # each strip is as high as its highest year says, beside the others
        heights = browser.run(
            "return [...document.querySelectorAll('#decades svg')].map(s => "
            "Math.max(0, ...[...s.querySelectorAll('path')].map(p => 24 - p.getBBox().y)))"
        )
        most = [max(years.count(year) for year in range(start, start + 10)) for start in range(starts[0], 1930, 10)]
        assert heights[:-1] == pytest.approx([24 * count / max(most) for count in most], abs=0.05)
        assert serious(browser) == []
        assert browser.run(WIDE) == [width, width]

        # one stop of the Tab key, arrows within, pressed and let go again
        focus(browser, "#sought [name=decade]")
        browser.press(TAB)
        assert browser.run(f"return document.activeElement === {FIRST}")
        browser.press(RIGHT, SPACE)
        decade = browser.run("return document.activeElement.value")
        count = sum(year is not None and year // 10 * 10 == int(decade) for year in years)
        browser.wait(f"{FOUND} === '{count} dials found among 300.'")
        assert browser.run("return document.activeElement.value") == decade  # though all was drawn anew
        said = browser.run("return document.getElementById('decade-said').textContent")
        assert said.startswith(f"{decade}s: {count} dials, ") and "kept back" in browser.run(
            "return document.querySelector('.key').innerText"
        )
        assert browser.run("return document.querySelector('[name=decade]').value") == decade
        assert serious(browser) == []
        browser.press(SPACE)
        browser.wait(f"{FOUND}.startsWith('Dials 1 to 60 of 300')")
        browser.press(END, ENTER)
        without = years.count(None)
        browser.wait(f"{FOUND} === '{without} dials found among 300.'")

        # what is sought shows in the map, whose strips stay where they are
        browser.run("const i = document.querySelector('[name=text]'); i.value = 'nothing of it'; "
                    "i.dispatchEvent(new Event('input', {bubbles: true}))")  # fmt: skip
        browser.wait(f"{FOUND} === '0 dials found among 300.'")
        assert (
            browser.run(strips)[-1] == "0"
            and browser.run("return document.querySelectorAll('#decades path').length") == 0
        )
        assert browser.run("return document.querySelectorAll('#decades button:enabled').length") == 1  # the pressed one
        browser.run("document.querySelector('#decades button:enabled').click()")
        browser.run("const i = document.querySelector('[name=text]'); i.value = ''; "
                    "i.dispatchEvent(new Event('input', {bubbles: true}))")  # fmt: skip
        browser.wait(f"{FOUND}.startsWith('Dials 1 to 60 of 300')")

        # all of them again, by one key; and what lies below the list is reached from above it
        assert not browser.run("return document.getElementById('seek-all').checkVisibility()")
        browser.run("const s = document.querySelector('[name=call]'); s.value = 'printed'; "
                    "s.dispatchEvent(new Event('input', {bubbles: true}))")  # fmt: skip
        browser.wait("document.getElementById('seek-all').checkVisibility()")
        focus(browser, "#seek-all")
        browser.press(ENTER)
        browser.wait(f"{FOUND}.startsWith('Dials 1 to 60 of 300')")
        assert browser.run("return document.activeElement.id") == "found"
        focus(browser, "#below button[value=along]")
        browser.press(ENTER)
        assert (
            browser.run("return document.getElementById('along').open && document.activeElement.localName") == "summary"
        )
        assert 0 <= browser.box("#along summary")["top"] < 900
        assert serious(browser) == []
        assert browser.console() == []


@needs_browser
@pytest.mark.slow
def test_dials_are_chosen_and_laid_on_each_other_by_keyboard(tmp_path):
    folder = tmp_path / "dials"
    for name in ("painted", "printed-transfer"):
        read_already(
            folder, cv2.imread(str(ROOT / "evaluate" / "examples" / f"{name}.jpg")), {}, name=f"The {name} one"
        )
    with served(folder) as url, Browser(tmp_path / "profile", width=390) as browser:
        browser.open(url)
        browser.wait(f"{FOUND} === '2 dials.'")
        focus(browser, "#plates summary")
        browser.press(ENTER, TAB, TAB)  # opened, past the button of all
        assert browser.run("return document.activeElement.id") == "plates-choose"
        browser.press(SPACE, SPACE)  # to the list, the first is ticked
        browser.wait("!document.getElementById('choosing').hidden")
        assert (
            browser.run("return document.getElementById('chosen').textContent") == "Chosen: The printed-transfer one."
        )
        assert browser.run("return document.getElementById('plates-chosen').disabled")
        browser.press(TAB, TAB, SPACE)  # the second dial, its box
        browser.wait("!document.getElementById('plates-chosen').disabled")
        assert serious(browser) == []
        assert browser.run(WIDE) == [390, 390]
        browser.press(TAB, ENTER)
        browser.wait(f"{NOW}.includes('1 pair was laid on each other now.')", 180)
        assert browser.run("return document.getElementById('choosing').hidden")
        rows = browser.run("return [...document.querySelectorAll('#plates-table tbody tr')].map(r => r.innerText)")
        with CollectionFile(folder / COLLECTION) as collection:
            (pair,) = collection.pairs()
        assert len(rows) == 1 and "The painted one" in rows[0] and pair["reason"] in rows[0]
        said = browser.run("return document.getElementById('plates-said').textContent")
        assert said.startswith("Two dials were laid on each other: ")
        assert serious(browser) == []
        assert browser.run(WIDE) == [390, 390]
        browser.run("document.querySelector('#plates-table a').click()")
        browser.wait("document.getElementById('name').textContent === 'The painted one'")
        assert browser.console() == []
