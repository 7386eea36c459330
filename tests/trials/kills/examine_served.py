"""`dialtell examine` as a user starts it, asked over its socket."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
import urllib.error
import urllib.parse
import urllib.request
from http.cookiejar import CookieJar
from pathlib import Path
from typing import Any

import cv2
import numpy as np

Bytes = np.ndarray[Any, np.dtype[np.uint8]]
START = "import sys; from dialtell.evaluate.cli.main import main; sys.exit(main(sys.argv[1:]))"


def drawn(shade: int) -> bytes:
    """A small photograph of a dial without a design, as JPEG: read at once. shade : of what it lies on, 0..255."""
    image: Bytes = np.full((240, 300, 3), shade, np.uint8)
    cv2.circle(image, (150, 120), 100, (235, 235, 230), -1, cv2.LINE_AA)
    return bytes(cv2.imencode(".jpg", image)[1].tobytes())


class Served:
    """A running examination of a folder, in a session of its own so that all its processes can be ended at once."""

    def __init__(self, folder: Path, *more: str) -> None:
        command = [sys.executable, "-c", START, "examine", str(folder), "--no-browser", *more]
        self.process = subprocess.Popen(
            command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True, start_new_session=True
        )
        self._ask: Any = None
        self.url = self.origin = ""

    def ready(self) -> None:
        """Wait until it said where it is, and be let in."""
        assert self.process.stdout
        self.url = self.process.stdout.readline().strip()
        self.origin = self.url.partition("/?")[0]
        self._ask = urllib.request.build_opener(
            urllib.request.ProxyHandler({}), urllib.request.HTTPCookieProcessor(CookieJar())
        )
        self._ask.open(self.url, timeout=30).read()

    def get(self, path: str) -> Any:
        """What is told at a path."""
        return json.load(self._ask.open(self.origin + path, timeout=60))

    def post(self, path: str, body: Any) -> Any:
        """JSON, or bytes as a file."""
        form, data = ("application/octet-stream", body) if isinstance(body, bytes) else (
            "application/json", json.dumps(body).encode()
        )  # fmt: skip
        request = urllib.request.Request(self.origin + path, data, {"Content-Type": form, "Origin": self.origin})
        return json.load(self._ask.open(request, timeout=60))

    def add(self, dial: int, content: bytes, name: str) -> Any:
        """A photograph under a dial."""
        return self.post(f"/dials/{dial}/photographs?name={urllib.parse.quote(name)}", content)

    def settle(self, seconds: float = 600) -> None:
        """Wait until nothing is left to do."""
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            state = self.get("/state")
            if not state["waiting"] and not state["doing"]:
                return
            time.sleep(0.05)
        raise AssertionError(f"still at it after {seconds} s")

    def kill(self) -> None:
        """End server and workers at once, without a word."""
        os.killpg(self.process.pid, signal.SIGKILL)
        self.process.wait()
        assert self.process.stdout
        self.process.stdout.close()
