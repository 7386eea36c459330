"""The label page in a browser, with real keys and a real mouse; and the command that serves it."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
from contextlib import contextmanager

import numpy as np
import pytest
from label_desk import CENTRE, HEIGHT, RADIUS, TELLTALES, WIDTH, desk, draw
from label_page_driven import needs_browser, ready, rows_of, saved
from web_driver import DOWN, ENTER, ESCAPE, RIGHT, Browser

EVIL = "<img src=x onerror=alert(1)>.png"


def pressed(browser):
    """The words of the buttons that are pressed, by row."""
    script = (
        "return Object.fromEntries([...document.querySelectorAll('.panel .row')].map(row => ["
        "row.querySelector('h2').lastChild.textContent.trim(), "
        "[...row.querySelectorAll('[aria-pressed=true]')].map(b => b.lastChild.textContent.trim()).join()]))"
    )
    return {row: word for row, word in browser.run(script).items() if word}


@needs_browser
def test_two_photographs_by_keyboard_alone(tmp_path):
    for number, name in enumerate((EVIL, "b.png", "c.png")):
        draw(tmp_path / "photos" / name, 30 + number)
    folder = tmp_path / "photos"
    with desk(folder) as server, Browser(tmp_path / "profile") as browser:
        browser.open(server.url)
        ready(browser, EVIL)
        assert server.token not in browser.run("return location.href + document.documentElement.outerHTML")
        assert browser.run("return document.querySelectorAll('img').length") == 1
        # blind: neither the page as it stands nor anything it asked for has the call
        page = browser.run("return document.documentElement.outerHTML")
        assert not [word for word in TELLTALES if word in page] and server.views.asked == []
        browser.press("v")
        assert browser.run("return document.getElementById('reveal').disabled") and server.views.asked == []

        browser.press("1", "0", "1")  # dial, signature, numerals
        saved(folder, EVIL, dial_process="painted", signature="cannot tell", numerals="painted")
        browser.wait("document.querySelectorAll('.panel [aria-pressed=true]').length === 4")
        assert pressed(browser) == {
            "Dial": "painted", "Signature": "cannot tell", "Numerals": "painted", "Basis": "by eye"
        }  # fmt: skip

        browser.press("u")
        browser.wait("document.getElementById('state').textContent === 'Taken back.'")
        assert rows_of(folder)[EVIL]["numerals"] == "" and pressed(browser)["Signature"] == "cannot tell"
        browser.press("w", *"one, two", ENTER, "a", "3")
        saved(folder, EVIL, notes="one, two", basis="examined object", dial_process="painted", signature="cannot tell")

        browser.press("v")
        browser.wait("document.getElementById('call').textContent.includes('hand-painted')")
        browser.press(ENTER)  # on to the next that is not labelled, the call out of view again
        ready(browser, "b.png")
        assert browser.run("return document.getElementById('call').textContent") == ""
        browser.press("2", "p", "1")
        saved(folder, "b.png", dial_process="printed", print_process="transfer", notes="")

        browser.open(f"http://127.0.0.1:{server.port}/")  # a reload goes on where labels are missing
        ready(browser, "c.png")
        assert "2 labelled" in browser.run("return document.getElementById('place').textContent")
        browser.press(",")
        ready(browser, "b.png")
        assert pressed(browser)["Printed by"] == "transfer"
        browser.press("1")
        saved(folder, "b.png", dial_process="painted", print_process="")
        browser.press("n", "2")
        browser.wait("document.getElementById('state').textContent.includes('the dial is now mixed')")
        browser.press("d", "1")  # refused in words, nothing changed
        browser.wait("!document.getElementById('trouble').hidden")
        assert "numerals labelled printed" in browser.run("return document.getElementById('trouble').textContent")
        assert rows_of(folder)["b.png"]["dial_process"] == "mixed"
        console = [line for line in browser.console() if "422" not in line]  # the refusal just now
        assert console == []


@needs_browser
def test_magnifier_and_outline(tmp_path):
    draw(tmp_path / "photos" / "a.png", 30)
    with desk(tmp_path / "photos") as server, Browser(tmp_path / "profile") as browser:
        browser.open(server.url)
        ready(browser, "a.png")
        assert browser.run("return document.querySelectorAll('#marks .found').length") == 1
        box = browser.box("#photo")
        assert box["width"] / box["height"] == pytest.approx(WIDTH / HEIGHT, abs=0.01)

        def lens():
            script = "const l = document.getElementById('lens'); return [!l.hidden, l.style.left, l.style.top]"
            on, left, top = browser.run(script)
            return on, *(float(text.rstrip("%") or 0) for text in (left, top))

        assert not lens()[0]
        browser.point(box["left"] + 0.25 * box["width"], box["top"] + 0.75 * box["height"])
        assert lens() == (True, pytest.approx(25, abs=0.5), pytest.approx(75, abs=0.5))
        browser.press(RIGHT, RIGHT, DOWN)
        assert lens() == (True, pytest.approx(27, abs=0.5), pytest.approx(76, abs=0.5))
        shown = "return document.getElementById('lens').toDataURL()"
        before = browser.run(shown)
        browser.press("+", "+")
        assert browser.run(shown) != before
        browser.press(ESCAPE)
        assert not lens()[0]

        browser.press("o")
        turns = 0.4 + np.arange(6) * np.pi / 3
        for count, turn in enumerate(turns, start=1):
            x, y = CENTRE[0] + RADIUS * np.cos(turn), CENTRE[1] + RADIUS * np.sin(turn)
            browser.point(box["left"] + box["width"] * x / WIDTH, box["top"] + box["height"] * y / HEIGHT, click=True)
            browser.wait(f"document.querySelectorAll('#marks .point').length === {count}")
            if count == 4:
                assert rows_of(tmp_path / "photos") == {}
        browser.wait("document.getElementById('state').textContent === 'Outline saved.'")
        browser.press("d")  # the queue is empty once this is done
        outline = [float(part) for part in rows_of(tmp_path / "photos")["a.png"]["outline"].split()]
        assert outline[:4] == pytest.approx([*CENTRE, RADIUS, RADIUS], abs=1.5)
        assert browser.run("return document.querySelectorAll('#marks .drawn, #marks .found').length") == 1
        drawn = browser.box("#marks .drawn")
        middle = [(drawn["left"] + drawn["right"]) / 2, (drawn["top"] + drawn["bottom"]) / 2]
        assert middle == pytest.approx([box["left"] + box["width"] / 2, box["top"] + box["height"] / 2], abs=4)

        browser.press("l", "l")  # four points are no outline
        browser.wait("document.querySelectorAll('#marks .point').length === 4")
        browser.wait("document.getElementById('state').textContent === 'Outline taken away.'")
        browser.press(" ")  # a point by key, at the magnifier: the rim point clicked last
        browser.wait("document.querySelectorAll('#marks .drawn').length === 1")
        browser.press("x")
        browser.wait("document.querySelectorAll('#marks .drawn').length === 0")
        assert rows_of(tmp_path / "photos")["a.png"]["outline"] == ""
        browser.press("u")
        browser.wait("document.querySelectorAll('#marks .drawn').length === 1")
        assert browser.console() == []


@needs_browser
@pytest.mark.parametrize("width", [390, 1200])
def test_page_fits_the_window(tmp_path, width):
    draw(tmp_path / "photos" / ("a-very-long-name-" * 9 + ".png"), 30)
    with desk(tmp_path / "photos") as server, Browser(tmp_path / "profile", width, 800) as browser:
        browser.open(server.url)
        browser.wait("document.getElementById('photo').naturalWidth > 0")
        assert browser.run("return [innerWidth, document.documentElement.scrollWidth]") == [width, width]
        last = browser.box("#onward")
        assert last["bottom"] <= 800  # always at hand
        assert browser.console() == []


@needs_browser
def test_what_was_said_is_seen_where_the_page_is_scrolled_to(tmp_path):
    """On a phone the head is out of sight while labels are given: words there alone would not be seen."""
    draw(tmp_path / "photos" / "a.png", 30)
    in_sight = (
        "const e = document.getElementById(arguments[0]), b = e.getBoundingClientRect(); return e.textContent && "
        "b.top >= 0 && b.bottom <= innerHeight && e.contains(document.elementFromPoint((b.left + b.right) / 2, "
        "(b.top + b.bottom) / 2))"
    )
    with desk(tmp_path / "photos") as server, Browser(tmp_path / "profile", 390, 800) as browser:
        browser.open(server.url)
        ready(browser, "a.png")
        browser.run("scrollTo(0, 500)")
        browser.press("2", "n", "1")
        browser.wait("document.getElementById('state').textContent.includes('the dial is now mixed')")
        assert browser.run("return scrollY") > 100 and browser.run(in_sight, "state")
        browser.press("d", "2")  # refused
        browser.wait("!document.getElementById('trouble').hidden")
        assert browser.run(in_sight, "trouble")
        browser.press("u")
        browser.wait("document.getElementById('trouble').hidden")


@contextmanager
def command(folder):
    """`dialtell label` on a folder as a process of its own, and the address it printed."""
    code = (
        "import argparse, sys; from dialtell.evaluate.cli import label as c\n"
        "parser = argparse.ArgumentParser(); c.add_arguments(parser); assert 'torch' not in sys.modules\n"
        "sys.exit(c.run(parser.parse_args(sys.argv[1:])))"
    )
    words = [sys.executable, "-c", code, str(folder), "--no-browser"]
    surroundings = os.environ | {"OMP_NUM_THREADS": "1"}
    with subprocess.Popen(words, stdout=subprocess.PIPE, text=True, env=surroundings) as process:
        try:
            yield process, process.stdout.readline()
        finally:
            process.kill()


@needs_browser
def test_page_says_when_the_program_has_ended(tmp_path):
    draw(tmp_path / "photos" / "a.png", 30)
    with Browser(tmp_path / "profile") as browser, command(tmp_path / "photos") as (process, address):
        browser.open(address.strip())
        ready(browser, "a.png")
        browser.press("1")
        browser.wait("document.getElementById('state').textContent.startsWith('Saved')")
        process.kill()  # by force: what was said to be saved is saved
        process.wait()
        browser.press("2")
        browser.wait("document.getElementById('trouble').textContent.startsWith('Not saved')")
        assert pressed(browser) == {"Dial": "painted", "Basis": "by eye"}
        assert rows_of(tmp_path / "photos")["a.png"]["dial_process"] == "painted"


def test_command_serves_and_ends_well_on_interrupt(tmp_path):
    draw(tmp_path / "a.png", 30)
    with command(tmp_path) as (process, address):
        assert re.fullmatch(r"http://127\.0\.0\.1:\d+/\?token=[\w-]{43}\n", address)
        process.send_signal(signal.SIGINT)
        assert process.wait(timeout=20) == 0
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.png", "labels.csv"]
