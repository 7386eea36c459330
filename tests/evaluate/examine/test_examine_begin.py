"""How dials are begun on the examination's page: the first words, a dial for each photograph, what is dropped twice."""

from __future__ import annotations

import pytest
from axe import serious
from examine_asked import drawn
from label_page_driven import needs_browser
from test_examine_page import IDLE, click, served
from web_driver import Browser

SHOWN = "return [...document.querySelectorAll(arguments[0])].filter(e => e.checkVisibility()).map(e => e.id)"
NAMES = "return [...document.querySelectorAll('.dials strong')].map(e => e.textContent)"


@needs_browser
@pytest.mark.slow
def test_a_dial_for_each_photograph_and_none_twice(tmp_path):
    photos = []
    for number, shade in enumerate((30, 60, 90), 1):
        photos.append(tmp_path / f"IMG_{number}.png")
        photos[-1].write_bytes(drawn(shade, ".png"))
    with served(tmp_path / "dials") as url, Browser(tmp_path / "profile", width=390) as browser:
        browser.open(url)
        browser.wait(IDLE)
        # nothing there: what this is for is said, and what is of no use is not shown
        assert browser.run(SHOWN, "#first, #plates, #agree, #along, #along-links, #seek") == ["first", "along"]
        assert serious(browser) == []
        click(browser, "#each-new")
        browser.drop("#door", photos[:2])
        browser.wait("document.querySelectorAll('.dials li').length === 2")
        assert sorted(browser.run(NAMES)) == ["IMG_1", "IMG_2"]
        assert browser.run(SHOWN, "#first, #plates, #agree, #seek") == ["seek", "plates", "agree"]
        assert browser.run("return document.documentElement.scrollWidth") == 390
        # dropped again with a new one: only that begins a dial, and where the others lie is said
        browser.drop("#door", photos)
        browser.wait("document.querySelectorAll('.dials li').length === 3")
        browser.wait("!document.getElementById('trouble').hidden")
        said = browser.run("return document.getElementById('trouble').textContent")
        assert "IMG_1.png was kept before, under IMG_1" in said and "IMG_2.png was kept before, under IMG_2" in said
        assert "IMG_3" not in said
        # of one dial, and all of it known: it is opened, no other begun
        click(browser, "#each-new")
        browser.drop("#door", photos[:1])
        browser.wait("document.getElementById('name').textContent === 'IMG_1'")
        click(browser, "#back")
        browser.wait("document.querySelectorAll('.dials li').length === 3")
        assert browser.console() == []
        # a field that is not kept is shown where it stands, and nowhere is all said to be kept
        click(browser, ".dials a")
        click(browser, "[name=year]")
        browser.press("x")
        browser.run("document.activeElement.blur()")
        browser.wait("document.querySelector('[name=year]').getAttribute('aria-invalid') === 'true'")
        assert browser.run("return document.getElementById('kept').textContent").startswith("Not kept: year is 'x'")
        browser.wait("document.getElementById('doing').textContent === 'One field is not kept.'", 120)
        assert serious(browser) == []
        browser.run("const y = document.querySelector('[name=year]'); y.value = '1884'; "
                    "y.dispatchEvent(new Event('change', {bubbles: true}))")  # fmt: skip
        browser.wait(f"{IDLE} && document.querySelector('.fields [aria-invalid]') === null", 60)
