"""The examination's page in Chromium, its server and workers as a user starts them: from the drop to what is kept."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from contextlib import contextmanager

import pillow_heif
import pytest
from axe import serious
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


def reading(folder, name="whole.heic"):
    with ExaminedDials(folder / "dials.collection") as dials:
        return next(photo for photo in dials.photographs(1) if photo["name"] == name)


def photographs(place):
    """A folder as a camera leaves it: the whole dial as HEIC, one that is cut off, and a note; two close-ups apart."""
    place.mkdir()
    whole = Image.open(ROOT / "evaluate/examples/painted.jpg")
    pillow_heif.from_pillow(whole).save(place / "whole.heic", quality=90)
    (place / "bad.jpg").write_bytes(drawn()[:400])
    (place / "notes.txt").write_text("not a photograph")
    near = []
    for name, (left, top, right, bottom) in {"name": (0.3, 0.12, 0.8, 0.5), "seconds": (0.25, 0.5, 0.75, 0.9)}.items():
        box = [round(share * whole.width) for share in (left, top, right, bottom)]
        near.append(place.with_name(f"close {name}.png"))
        whole.crop(box).resize((2 * (box[2] - box[0]), 2 * (box[3] - box[1])), Image.Resampling.BICUBIC).save(near[-1])
    return near


def call_kept(folder):
    with ExaminedDials(folder / "dials.collection") as dials:
        document, together = dials.whole(1)
    return document["call"], together


@needs_browser
@pytest.mark.slow
def test_from_the_drop_to_another_machine(tmp_path):
    """The whole path: a folder dropped, an outline dragged, close-ups added, an opinion noted blind, the call shown,
    filed, looked into, taken along, brought in elsewhere."""
    folder, shoot, down = tmp_path / "dials", tmp_path / "no. 41", tmp_path / "down"
    near = photographs(shoot)
    with served(folder) as url, Browser(tmp_path / "profile") as browser:
        browser.open(url)
        browser.wait(IDLE)
        assert browser.run("return location.search") == ""
        assert serious(browser) == []
        click(browser, "#blind-new")
        browser.drop("#door", [shoot])
        browser.wait(f"document.querySelectorAll('.strip li').length === 2 && {SAID}.startsWith('Is the outline')", 90)
        browser.wait("document.querySelector('.wrong') !== null")
        browser.wait("document.getElementById('photo').naturalWidth > 0")
        assert browser.run("return document.getElementById('name').textContent") == "no. 41"
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
        # and both put back as they were read
        click(browser, "#unmark")
        browser.wait(f"{SAID}.startsWith('Is the outline')", 60)
        # two close-ups are laid on the whole view
        browser.drop("#stage", near)
        browser.wait("document.querySelectorAll('.strip li').length === 4")
        browser.wait("document.querySelectorAll('.role').length === 3", 120)
        assert browser.run("return [...document.querySelectorAll('.role')].map(p => p.textContent).sort()") == [
            "laid on the whole view", "laid on the whole view", "the others are laid on this one"
        ]  # fmt: skip
        # an opinion, then the call
        assert browser.run("return document.getElementById('show').disabled")
        click(browser, "button[data-zone='numerals'][data-label='printed']")
        browser.wait("document.querySelector(\"button[data-zone='numerals'][aria-pressed=true]\") !== null")
        click(browser, "button[data-zone='dial'][data-label='mixed']")
        browser.wait("!document.getElementById('show').disabled")
        assert serious(browser) == []
        click(browser, "#show")
        browser.wait("document.querySelector('#whole strong') !== null")
        assert browser.run("return document.querySelector('#whole strong').textContent") == call_kept(folder)[0]
        assert call_kept(folder)[1]
        # filed
        click(browser, "input[name=maker]")
        browser.press(*"Invented")
        click(browser, "input[name=size]")
        browser.press(*"44,9")
        click(browser, "input[name=year]")
        browser.wait("document.getElementById('kept').textContent === 'Kept.'")
        browser.wait(f"{IDLE} && document.querySelector('#whole strong') !== null", 120)
        assert serious(browser) == []
        # compared with the opinion, over all dials
        click(browser, "#back")
        browser.wait("document.querySelector('.dials a') !== null")
        click(browser, "#agree summary")
        browser.wait("document.getElementById('agreed').tBodies[0].rows.length > 0", 60)
        # taken along
        browser.order("Page.setDownloadBehavior", behavior="allow", downloadPath=str(down))
        click(browser, "#along summary")
        click(browser, "#along a[href$='.zip']")
        zipped = down / "dials.zip"
        end = time.monotonic() + 30
        while not zipped.is_file():
            assert time.monotonic() < end
            time.sleep(0.05)
        # the page of why opens from here, and its script runs
        browser.run("location.hash = 'dial-1'")
        browser.wait("!document.getElementById('inspection').hidden")
        click(browser, "#report")
        report, end = down / "dial-1.pdf", time.monotonic() + 120
        while not report.is_file():
            assert time.monotonic() < end
            time.sleep(0.05)
        assert report.read_bytes().startswith(b"%PDF-")
        browser.open(browser.run("return document.getElementById('inspection').href"))
        assert browser.wait("document.readyState === 'complete' && document.title")
        assert browser.console() == []
    # killed without a word: all is there, and at a telephone's width nothing sticks out
    with served(folder) as url, Browser(tmp_path / "second", width=390) as browser:
        browser.open(url)
        browser.wait("document.querySelector('.dials strong') !== null")
        assert browser.run("return document.querySelector('.dials strong').textContent") == "no. 41"
        assert browser.run("return document.documentElement.scrollWidth") == 390
        click(browser, ".dials a")
        browser.wait("document.querySelector(\"button[data-zone='dial'][aria-pressed=true]\") !== null")
        assert browser.run("return document.documentElement.scrollWidth") == 390
        assert serious(browser) == []
        assert browser.console() == []
    with CollectionFile(folder / "dials.collection") as collection:
        assert collection.faults() == []
        entry = next(entry for entry in collection.entries() if entry.path.suffix == ".heic")
        assert entry.fields["size_mm"] == 44.9 and entry.document["known"]["diameter_mm"] == 44.9
        labels = {row["zone"]: row["label"] for row in collection.labels(entry.id)}
        assert labels == {"numerals": "printed", "dial": "mixed"}
    # brought in on an empty machine: the same call at once, nothing read anew but what could not be read
    there = tmp_path / "there"
    with served(there) as url, Browser(tmp_path / "third") as browser:
        browser.open(url)
        browser.wait(IDLE)
        click(browser, "#along summary")
        browser.choose("#bring-file", [zipped])
        browser.wait(
            "document.getElementById('brought').textContent.startsWith('1 new dial and 4 new photographs')", 60
        )
        browser.wait("document.querySelector('.dials a') !== null")
        browser.wait(IDLE, 60)
        click(browser, ".dials a")
        browser.wait("document.querySelector('#whole strong') !== null")
        assert browser.run("return document.querySelector('#whole strong').textContent") == call_kept(folder)[0]
        assert browser.run("return document.querySelectorAll('.strip img').length") == 3
        assert browser.console() == []
    assert call_kept(there) == call_kept(folder)
    with ExaminedDials(there / "dials.collection") as here, ExaminedDials(folder / "dials.collection") as were:
        for table in ("reading", "together", "opinion", "photo"):
            count = f"SELECT count(*) AS n FROM examined_{table}"
            assert here.rows(count, []) == were.rows(count, [])
