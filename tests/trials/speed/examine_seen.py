"""How long a person waits at the examination's list, in Chromium: from the click or the key to the list as drawn."""

from __future__ import annotations

import importlib
import statistics
import sys
import time
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from dialtell.evaluate.examine.listing import PAGE

_FOUND = "document.getElementById('found').textContent"
# the time from `act` until the list says `settled` and two frames are drawn
_PACE = """
window.paceOf = (act, settled) => {
  const begun = performance.now();
  window.paced = 0;
  act();
  const look = () => {
    if (!settled()) setTimeout(look, 1);
    else requestAnimationFrame(() => requestAnimationFrame(() => { window.paced = performance.now() - begun; }));
  };
  look();
};
"""
_SCROLL = """
let last = performance.now(), worst = 0, y = 0;
window.paced = 0;
scrollTo(0, 0);
const step = () => {
  const now = performance.now();
  worst = Math.max(worst, now - last);
  last = now;
  scrollTo(0, y += 120);
  if (y < document.documentElement.scrollHeight) requestAnimationFrame(step); else window.paced = worst;
};
requestAnimationFrame(step);
"""


def _given(name: str, value: str) -> str:
    return (
        f"const i = document.querySelector('#sought [name={name}]'); i.value = '{value}'; "
        "i.dispatchEvent(new Event('input', {bubbles: true}))"
    )


def _acts(count: int) -> dict[str, tuple[str, str]]:
    """What is done, and what holds when it is shown; one after another they end where they began."""
    whole = f"{_FOUND} === 'Dials 1 to {PAGE} of {count:,}.'"
    some = f"{_FOUND}.includes('found among')"
    decade = "document.querySelector('#decades button[value=\"1880\"]').click()"
    return {
        "a word typed": (_given("text", "invented 7"), some),
        "a word nobody has": (_given("text", "nothing of it"), f"{_FOUND}.startsWith('0 dials')"),
        "the word taken away": (_given("text", ""), whole),
        "a call chosen": (_given("call", "printed"), some),
        "any call": (_given("call", ""), whole),
        "a decade pressed": (decade, some),
        "the decade let go": (decade, whole),
        "older dials": ("document.getElementById('page-on').click()", f"{_FOUND}.startsWith('Dials {PAGE + 1} ')"),
        "newer dials": ("document.getElementById('page-back').click()", whole),
    }


def seen(url: str, count: int, rounds: int = 9) -> dict[str, Any]:
    """Milliseconds, median and largest of `rounds` of each act, and of opening the page; the longest frame while a page
    of the list is scrolled. url : with its token. The first round, with everything cold, is left out."""
    sys.path.append(str(Path(__file__).parents[2] / "support"))
    browsers = importlib.import_module("web_driver")
    if not (browsers.CHROMIUM and browsers.DRIVER):
        return {"left out": "no Chromium with its driver here"}
    acts = _acts(count)
    spans: dict[str, list[float]] = {name: [] for name in ("opened", *acts)}
    with TemporaryDirectory() as profile, browsers.Browser(Path(profile)) as browser:
        browser.open(url)
        for each in range(rounds + 1):
            browser.open("about:blank")
            browser.open(url.partition("?")[0])
            browser.wait(f"document.querySelectorAll('#dials li').length === {min(PAGE, count)}")
            # its pictures are asked for when the list is laid out
            asked = "performance.getEntriesByType('resource').find(e => e.name.includes('/thumbnails/'))"
            spans["opened"].append(browser.wait(f"{asked} && {asked}.startTime"))
            browser.run(_PACE)
            for name, (act, settled) in acts.items():
                time.sleep(0.1)  # what the last one began is done
                browser.run(f"paceOf(() => {{ {act} }}, () => {settled})")
                spans[name].append(browser.wait("window.paced", 60))
            if not each:
                spans = {name: [] for name in spans}
        browser.run(_SCROLL)
        frame = browser.wait("window.paced", 60)
    every = [span for name in acts for span in spans[name]]
    told = {name: {"median": statistics.median(some), "largest": max(some)} for name, some in spans.items()}
    return {"ms": told, "acts": len(every), "over 200 ms": sum(span > 200 for span in every), "longest frame": frame}
