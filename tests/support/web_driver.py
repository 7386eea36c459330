"""A browser driven as a person would: real keys and a real pointer, over the W3C WebDriver protocol."""

from __future__ import annotations

import base64
import json
import re
import shutil
import subprocess
import time
import urllib.request
from pathlib import Path
from typing import Any

CHROMIUM = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
DRIVER = shutil.which("chromedriver")
ENTER, ESCAPE, RIGHT, DOWN, PAGE_UP = "\ue007", "\ue00c", "\ue014", "\ue015", "\ue00e"
ARGUMENTS = (
    "--headless=new --no-sandbox --disable-gpu --disable-quic --no-first-run --disable-background-networking "
    "--disable-component-update --disable-sync --hide-scrollbars"
).split()


class Browser:
    """A headless Chromium; use as a context manager. width, height : of the page, CSS px."""

    def __init__(self, profile: Path, width: int = 1280, height: int = 900) -> None:
        assert CHROMIUM and DRIVER
        self._driver = subprocess.Popen(
            [DRIVER, "--port=0"], stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
        )
        assert self._driver.stdout
        for line in self._driver.stdout:
            if found := re.search(r"successfully on port (\d+)", line):
                break
        self._base = f"http://127.0.0.1:{found.group(1)}"
        options = {"binary": CHROMIUM, "args": [*ARGUMENTS, f"--user-data-dir={profile}"]}
        options["mobileEmulation"] = {
            "deviceMetrics": {"width": width, "height": height, "pixelRatio": 1, "touch": False}
        }
        wanted = {"goog:chromeOptions": options, "goog:loggingPrefs": {"browser": "ALL"}}
        self._base += (
            "/session/" + self._ask("POST", "/session", {"capabilities": {"alwaysMatch": wanted}})["sessionId"]
        )

    def __enter__(self) -> Browser:
        return self

    def __exit__(self, *_: object) -> None:
        try:
            self._ask("DELETE", "", None)
        finally:
            self._driver.terminate()
            self._driver.wait()
            self._driver.stdout.close()

    def _ask(self, method: str, path: str, body: object) -> Any:
        data = None if body is None else json.dumps(body).encode()
        request = urllib.request.Request(self._base + path, data, {"Content-Type": "application/json"}, method=method)
        with urllib.request.build_opener(urllib.request.ProxyHandler({})).open(request, timeout=300) as reply:
            return json.load(reply)["value"]

    def open(self, url: str) -> None:
        self._ask("POST", "/url", {"url": url})

    def run(self, script: str, *arguments: object) -> Any:
        """What a script returns."""
        return self._ask("POST", "/execute/sync", {"script": script, "args": arguments})

    def wait(self, condition: str, seconds: float = 20) -> Any:
        """Until an expression of JavaScript is true; its value."""
        end = time.monotonic() + seconds
        while not (value := self.run(f"return {condition}")):
            if time.monotonic() > end:
                raise AssertionError(f"not so after {seconds} s: {condition}")
            time.sleep(0.03)
        return value

    def press(self, *keys: str) -> None:
        """Keys one after another, held by no hand."""
        steps = [{"type": kind, "value": key} for key in keys for kind in ("keyDown", "keyUp")]
        self._ask("POST", "/actions", {"actions": [{"type": "key", "id": "keys", "actions": steps}]})

    def point(self, x: float, y: float, click: bool = False) -> None:
        """Move the mouse to a place on the page, and click there."""
        steps: list[dict[str, object]] = [{"type": "pointerMove", "duration": 0, "x": round(x), "y": round(y)}]
        if click:
            steps += [{"type": "pointerDown", "button": 0}, {"type": "pointerUp", "button": 0}]
        pointer = {"type": "pointer", "id": "mouse", "parameters": {"pointerType": "mouse"}, "actions": steps}
        self._ask("POST", "/actions", {"actions": [pointer]})

    def drag(self, start: tuple[float, float], end: tuple[float, float]) -> None:
        """Press the mouse at one place, move it to another in steps, and let go."""
        ways = [tuple(s + (e - s) * k / 4 for s, e in zip(start, end, strict=True)) for k in range(5)]
        steps: list[dict[str, object]] = [
            {"type": "pointerMove", "duration": 0, "x": round(x), "y": round(y)} for x, y in ways
        ]
        steps.insert(1, {"type": "pointerDown", "button": 0})
        steps.append({"type": "pointerUp", "button": 0})
        pointer = {"type": "pointer", "id": "mouse", "parameters": {"pointerType": "mouse"}, "actions": steps}
        self._ask("POST", "/actions", {"actions": [pointer]})

    def touch(self, *fingers: list[tuple[float, float]]) -> None:
        """Fingers laid on the page at once, each moved along its places and lifted."""
        actions = []
        for number, places in enumerate(fingers):
            steps: list[dict[str, object]] = [
                {"type": "pointerMove", "duration": 30 * (k > 0), "x": round(x), "y": round(y)}
                for k, (x, y) in enumerate(places)
            ]
            steps.insert(1, {"type": "pointerDown", "button": 0})
            steps.append({"type": "pointerUp", "button": 0})
            kind = {"pointerType": "touch"}
            actions.append({"type": "pointer", "id": f"finger{number}", "parameters": kind, "actions": steps})
        self._ask("POST", "/actions", {"actions": actions})

    def order(self, command: str, **values: object) -> Any:
        """A command of the browser's own protocol."""
        return self._ask("POST", "/goog/cdp/execute", {"cmd": command, "params": values})

    def drop(self, selector: str, things: list[Path]) -> None:
        """Files and folders dragged from outside the browser and dropped on an element."""
        self.run("document.querySelector(arguments[0]).scrollIntoView({block: 'start'})", selector)
        box = self.box(selector)
        place = {"x": box["left"] + box["width"] / 2, "y": box["top"] + 40}
        data = {"items": [], "files": [str(thing) for thing in things], "dragOperationsMask": 1}
        for kind in ("dragEnter", "dragOver", "drop"):
            self.order("Input.dispatchDragEvent", type=kind, data=data, **place)

    def choose(self, selector: str, files: list[Path]) -> None:
        """Give files to an input of the page, as its dialog would."""
        found = self._ask("POST", "/element", {"using": "css selector", "value": selector})
        number = next(iter(found.values()))
        self._ask("POST", f"/element/{number}/value", {"text": "\n".join(map(str, files))})

    def box(self, selector: str) -> dict[str, float]:
        """Of an element: left, top, width, height in px of the window."""
        return self.run(
            "const b = document.querySelector(arguments[0]).getBoundingClientRect(); return b.toJSON()", selector
        )

    def console(self) -> list[str]:
        """What the page wrote to the console since last asked, network errors among it."""
        return [entry["message"] for entry in self._ask("POST", "/se/log", {"type": "browser"})]

    def picture(self, path: Path) -> None:
        """A screenshot of the window."""
        path.write_bytes(base64.b64decode(self._ask("GET", "/screenshot", None)))
