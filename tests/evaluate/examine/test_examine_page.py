"""The examination's page in Chromium, its server and workers as a user starts them: from the drop to what is kept."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from contextlib import contextmanager

import pillow_heif
import pytest
from checkout import ROOT
from examine_asked import drawn
from label_page_driven import needs_browser
from PIL import Image
from web_driver import Browser

from dialtell.evaluate.collection.file import CollectionFile
from dialtell.evaluate.examine.record import ExaminedDials

START = "import sys; from dialtell.evaluate.cli.main import main; sys.exit(main(sys.argv[1:]))"
IDLE = "document.getElementById('doing').textContent === 'Everything is kept.'"
SAID = "document.getElementById('said').textContent"


@contextmanager
def served(folder):
    """The page's address and the process, killed at the end without a word."""
    command = [sys.executable, "-c", START, "examine", str(folder), "--no-browser", "--workers", "2"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        try:
            yield process.stdout.readline().strip()
        finally:
            os.kill(process.pid, signal.SIGKILL)


def centre(browser, selector):
    box = browser.box(selector)
    return box["left"] + box["width"] / 2, box["top"] + box["height"] / 2


def click(browser, selector):
    browser.run("document.querySelector(arguments[0]).scrollIntoView({block: 'center'})", selector)
    browser.point(*centre(browser, selector), click=True)


def reading(folder):
    with ExaminedDials(folder / "dials.collection") as dials:
        return next(photo for photo in dials.photographs(1) if photo["name"] == "whole.heic")


@needs_browser
@pytest.mark.slow
def test_from_the_drop_to_what_is_kept(tmp_path):
    folder, whole, bad = tmp_path / "dials", tmp_path / "whole.heic", tmp_path / "bad.jpg"
    pillow_heif.from_pillow(Image.open(ROOT / "evaluate/examples/painted.jpg")).save(whole, quality=90)
    bad.write_bytes(drawn()[:400])
    with served(folder) as url, Browser(tmp_path / "profile") as browser:
        browser.open(url)
        browser.wait(IDLE)
        assert browser.run("return location.search") == ""
        click(browser, "#blind-new")
        browser.choose("#files", [whole, bad])
        browser.wait(f"document.querySelectorAll('.strip li').length === 2 && {SAID}.startsWith('Is the outline')", 90)
        browser.wait("document.querySelector('.wrong') !== null")
        browser.wait("document.getElementById('photo').naturalWidth > 0")
        # a bad photograph is said at its place
        assert "bad.jpg" in browser.run("return document.querySelector('.wrong').textContent")
        # the call is kept back
        call = reading(folder)["document"]["call"]
        assert browser.run("return document.getElementById('inspection').hidden")
        assert call not in browser.run("return document.getElementById('sheet').innerText").split()
        # an outline dragged is read anew
        browser.run("document.getElementById('stage').scrollIntoView({block: 'start'})")
        browser.wait("document.getElementById('handle-centre').getBoundingClientRect().width > 0")
        before = reading(folder)
        x, y = centre(browser, "#handle-centre")
        browser.drag((x, y), (x + 12, y + 6))
        browser.wait(f"{SAID}.startsWith('Read with what you marked')", 60)
        after = reading(folder)
        moved = after["marked"]["outline"][0] - before["document"]["geometry"]["center_px"][0]
        share = before["width"] / browser.box("#photo")["width"]
        assert abs(moved - 12 * share) < 2 * share
        assert abs(after["document"]["geometry"]["center_px"][0] - after["marked"]["outline"][0]) < 0.01
        # 12 o'clock by the keyboard
        browser.run("document.getElementById('handle-twelve').focus()")
        for _ in range(5):
            browser.press("\ue014")
        browser.wait("document.getElementById('said').textContent === 'Being read…'")
        browser.wait(f"{SAID}.startsWith('Read with what you marked')", 60)
        assert 0 < reading(folder)["marked"]["twelve_deg"] - before["document"]["geometry"]["rotation_deg"] < 5
        # an opinion, then the call
        assert browser.run("return document.getElementById('show').disabled")
        click(browser, "button[data-zone='numerals'][data-label='printed']")
        browser.wait("document.querySelector(\"button[data-zone='numerals'][aria-pressed=true]\") !== null")
        click(browser, "button[data-zone='dial'][data-label='mixed']")
        browser.wait("!document.getElementById('show').disabled")
        click(browser, "#show")
        browser.wait("document.querySelector('#whole strong') !== null")
        call = reading(folder)["document"]["call"]
        assert browser.run("return document.querySelector('#whole strong').textContent") == call
        assert not browser.run("return document.getElementById('inspection').hidden")
        # fields
        click(browser, "input[name=maker]")
        browser.press(*"Invented")
        click(browser, "input[name=size]")
        browser.press(*"44,9")
        click(browser, "input[name=year]")
        browser.wait("document.getElementById('kept').textContent === 'Kept.'")
        browser.wait(f"{IDLE} && {SAID}.startsWith('Read with')", 60)
        # the inspection page opens from here, and its script runs
        browser.wait("!document.getElementById('inspection').hidden")
        browser.open(browser.run("return document.getElementById('inspection').href"))
        assert browser.wait("document.readyState === 'complete' && document.title")
        assert browser.console() == []
    # killed without a word: all is there, and at a telephone's width nothing sticks out
    with served(folder) as url, Browser(tmp_path / "second", width=390) as browser:
        browser.open(url)
        browser.wait("document.querySelector('.dials strong') !== null")
        assert browser.run("return document.querySelector('.dials strong').textContent") == "Invented"
        assert browser.run("return document.documentElement.scrollWidth") == 390
        click(browser, ".dials a")
        browser.wait("document.querySelector(\"button[data-zone='dial'][aria-pressed=true]\") !== null")
        assert browser.run("return document.documentElement.scrollWidth") == 390
        assert browser.console() == []
    with CollectionFile(folder / "dials.collection") as collection:
        assert collection.faults() == []
        entry = next(collection.entries())
        assert entry.fields["size_mm"] == 44.9 and entry.document["known"]["diameter_mm"] == 44.9
        labels = {row["zone"]: row["label"] for row in collection.labels(entry.id)}
        assert labels == {"numerals": "printed", "dial": "mixed"}
