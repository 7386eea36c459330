"""The collection's page in a browser, with ten thousand dials."""

import html
import json
import re
import time

import pytest
from page_opened import needs_browser, opened

from dialtell.evaluate.collection.file import CollectionFile
from dialtell.evaluate.collection.page import page_text

PROBE = """<script>addEventListener("load", () => {
  const told = {}, tiles = () => document.querySelectorAll(".tile").length;
  const set = (id, value) => { const input = document.getElementById(id); input.value = value;
    input.dispatchEvent(new Event("input")); };
  told.first = tiles(); document.getElementById("more").click(); told.more = tiles();
  set("by-call", "hand-painted"); told.hand = document.getElementById("shown").textContent;
  set("by-decade", "1880"); told.decade = document.getElementById("shown").textContent;
  set("by-zone", "signature"); set("by-call", "printed"); told.zone = document.getElementById("shown").textContent;
  set("by-support", "3"); told.support = document.getElementById("shown").textContent;
  told.wide = document.documentElement.scrollWidth <= innerWidth;
  document.body.dataset.told = JSON.stringify(told);
})</script></body>"""


def filled(path, count):
    zones = [{"zone": "signature", "judged": True, "call": "printed", "log10_lr": -1.1}]
    with CollectionFile(path, create=True) as collection:
        with collection._change() as base:  # one transaction for all: only the reading is looked at here
            for number in range(count):
                call, ratio = (("hand-painted", 1.4), ("printed", -1.6), ("undetermined", 0.2))[number % 3]
                document = json.dumps({"call": call, "log10_lr": ratio, "support": "words", "zones": zones})
                base.execute(
                    "INSERT INTO photo (id, sha256, path, added_at, year, thumbnail, likeness) VALUES "
                    "(?, ?, ?, '2026', ?, ?, ?)",
                    (number + 1, f"{number:064x}", f"{number}.jpg", 1860 + number % 50, b"\xff\xd8" + bytes(2500),
                     f"{number * 0x9E3779B97F4A7C15 % 2**64:016x}"),
                )  # fmt: skip
                base.execute(
                    "INSERT INTO call (photo, weights, weights_sha256, made_at, call, log10_lr, document) "
                    "VALUES (?, 'w 1', 'aa', '2026', ?, ?, ?)",
                    (number + 1, call, ratio, document),
                )
        return list(collection.entries())


@needs_browser
@pytest.mark.parametrize("count", [300, pytest.param(10_000, marks=pytest.mark.slow)])
def test_filters_work_in_a_browser(tmp_path, count):
    began = time.perf_counter()
    entries = filled(tmp_path / "x.collection", count)
    text = page_text(entries, "x")
    print(f"{count} dials: {time.perf_counter() - began:.1f} s to fill, list and lay out, {len(text) / 1e6:.1f} MB")
    text = re.sub(r'<meta http-equiv="Content-Security-Policy"[^>]*>', "", text).replace("</body>", PROBE)
    path = tmp_path / "x.html"
    path.write_text(text, encoding="utf-8")
    dom, console = opened(path, tmp_path / "profile")
    told = json.loads(html.unescape(re.search(r'data-told="([^"]*)"', dom).group(1)))
    assert [line for line in console if "rror" in line] == []
    assert (told["first"], told["more"]) == (240, min(480, count))
    third = sum(number % 3 == 0 for number in range(count))
    assert told["hand"].startswith(f"{third} of {count} dials")
    decade = sum(1880 <= 1860 + number % 50 < 1890 and number % 3 == 0 for number in range(count))
    assert told["decade"].startswith(f"{decade} of")
    assert told["zone"].startswith(f"{sum(1880 <= 1860 + n % 50 < 1890 for n in range(count))} of")
    assert told["support"].startswith("0 of")
    assert told["wide"]
