"""A page opened in a headless Chromium, without a driver."""

from __future__ import annotations

import shutil
import subprocess

import pytest

BROWSER = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)

needs_browser = pytest.mark.skipif(BROWSER is None, reason="no Chromium here: the page was not opened")

OFFLINE = (
    "--headless --no-sandbox --disable-gpu --disable-quic --no-first-run --disable-background-networking "
    "--disable-component-update --disable-sync --enable-logging=stderr --dump-dom"
).split()


def opened(path, profile):
    """The page's DOM after its script ran, and what it wrote to the console."""
    command = [BROWSER, *OFFLINE, f"--user-data-dir={profile}", "--window-size=1280,1000", path.as_uri()]
    done = subprocess.run(command, capture_output=True, text=True, timeout=90, check=True)
    return done.stdout, [line for line in done.stderr.splitlines() if "CONSOLE" in line]
