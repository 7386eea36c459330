"""The label page as several tests drive it: when it is ready, and what was saved."""

from __future__ import annotations

import csv
import time

import pytest
from web_driver import CHROMIUM, DRIVER

needs_browser = pytest.mark.skipif(
    not (CHROMIUM and DRIVER), reason="no Chromium with its driver here: the page was not opened"
)

READY = (
    "document.getElementById('name').textContent === arguments0 && document.getElementById('photo').naturalWidth > 0 "
    "&& !document.getElementById('photo').classList.contains('coming') "
    "&& !document.getElementById('outline').textContent.startsWith('Looking')"
)


def ready(browser, name):
    browser.wait(READY.replace("arguments0", repr(name)))


def rows_of(folder):
    with open(folder / "labels.csv", newline="", encoding="utf-8") as stream:
        return {row["photo"]: row for row in csv.DictReader(stream)}


def saved(folder, name, **cells):
    """Wait until the table says so; typing and saving go their own pace."""
    end = time.monotonic() + 20
    while not (row := rows_of(folder).get(name)) or any(row[column] != value for column, value in cells.items()):
        assert time.monotonic() < end, f"{name} is {row}, not {cells}"
        time.sleep(0.02)
