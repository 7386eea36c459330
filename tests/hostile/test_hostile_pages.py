"""Names and words from outside stay text on every page: the elements of a page do not depend on them."""

from __future__ import annotations

import importlib.resources
import re
from html.parser import HTMLParser
from pathlib import Path
from types import SimpleNamespace

import benchmark_rows_made
import pages_made
import pytest
from benchmark_rows_made import row

from dialtell.evaluate.benchmark import page as benchmark_page
from dialtell.evaluate.collection import page as collection_page
from dialtell.evaluate.collection.file import CollectionFile
from dialtell.evaluate.compare import page as compare_page
from dialtell.evaluate.compare.zone_pairs import ZonePair
from dialtell.evaluate.inspection import page
from dialtell.model.reading.known import Known

HOSTILE = [
    "<script>alert(1)</script>", '"><img src=x onerror=alert(1)>', "' onmouseover='alert(1)", "</title><b>", "--><b>",
    "</script><script>alert(2)</script>", "{{ 7 * 7 }}{% raw %}", "javascript:alert(1)", "&lt;b&gt;&#60;i&#62;", "<!--",
    "\u202ecod.exe", "</style><style>*{display:none}", "x\x00<b>", "\udcff<b>",
]  # fmt: skip
PAGES = importlib.resources.files("dialtell.evaluate.pages")


class Elements(HTMLParser):
    """Every element with the names of its attributes, in order, and addresses they lead to."""

    def __init__(self, text):
        super().__init__()
        self.elements, self.leads = [], []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.elements.append((tag, tuple(name for name, _ in attrs)))
        self.leads += [value for name, value in attrs if name in ("href", "action", "src") and value]


def inspection(words):
    dial = pages_made.sample(words, reason=words, warnings=[words])
    dial["zones"][1]["reason"] = words
    model = pages_made.MODEL | {"name": words, "version": words}
    return page.page_text(dial, pages_made.photo(), None, [], model)


def collection(words, folder):
    with CollectionFile(folder / "dials.collection", create=True) as dials:
        document = {"photo": words, "call": "printed", "log10_lr": -1.0, "support": words, "reason": words, "zones": []}
        place = folder / words.encode("utf-8", "ignore").decode().replace("/", "_").replace("\x00", "_")
        weights = {"name": words.encode("utf-8", "ignore").decode(), "version": "1", "sha256": "a" * 64}
        for number in ("0", "1"):
            dials.add(place, number * 64, likeness="0" * 16, thumbnail=b"jpeg", weights=weights, document=document)
        text = words.encode("utf-8", "ignore").decode()
        dials.set_fields(1, {"maker": text, "serial": text, "notes": text, "year": 1880})
        return collection_page.page_text(list(dials.entries()), words)


def compared(words, monkeypatch):
    monkeypatch.setattr(compare_page, "straightened", lambda _: (None, None))  # no pictures: words only
    dial = {"photo": words, "call": words, "support": words, "reason": words}
    document = {
        "dials": [dial, dial], "log10_lr": None, "finding": words, "reason": words, "process": words, "support": words,
        "stray": {"px": None}, "zones": [], "part": "", "places": 0, "matched": 0,
        "model": {"name": words, "version": words, "sha256": words},
    }  # fmt: skip
    pair = ZonePair("numerals", ((pages_made.photo(),), ()), (words, words))
    monkeypatch.setattr(compare_page, "zone_pairs", lambda *_: [pair])
    one = SimpleNamespace(known=Known())
    return compare_page.page_text(SimpleNamespace(document=document, registration=None, first=one, second=one))


def benchmark(words):
    said = {"dial": words, "source": words, "object_type": words, "labeller": words, "notes": words}
    rows = [row(i, ("printed", "painted")[i % 2], 1.5, **said) for i in range(2, 12)]
    document = benchmark_rows_made.document(rows) | {"labels": words, "problems": [words], "model": pages_made.MODEL}
    settings = dict.fromkeys(("cluster", "labels_sha256", "outlines"), words) | {"draws": 9, "seed": 1}
    document["settings"] = settings
    return benchmark_page.page_text(document | {"model": pages_made.MODEL | {"name": words}}, {})


@pytest.mark.parametrize("kind", ["inspection", "collection", "compare", "benchmark"])
def test_no_words_make_or_change_an_element(kind, tmp_path, monkeypatch):
    def made(words, number):
        if kind == "collection":
            folder = tmp_path / str(number)
            folder.mkdir()
            return Elements(collection(words, folder))
        if kind == "compare":
            return Elements(compared(words, monkeypatch))
        return Elements({"inspection": inspection, "benchmark": benchmark}[kind](words))

    plain = made("plain words", "plain")
    assert len(plain.elements) > 20
    for number, words in enumerate(HOSTILE):
        hostile = made(words, number)
        assert hostile.elements == plain.elements, words
        assert all(lead.startswith(("data:", "#")) for lead in hostile.leads), words


# whose policy comes with their servers, where test_label_server, test_examine_app and test_examine_phone look for it
SERVED = {"label.html", "examine.html", "examine_phone.html"}


def test_templates_run_our_script_only_and_ask_for_nothing():
    """Every page carries a policy that names its script by hash; no template switches escaping off."""
    templates = [item for item in PAGES.iterdir() if item.name.endswith(".html")]
    assert len(templates) >= 5
    for template in templates:
        text = template.read_text(encoding="utf-8")
        if "<html" in text and template.name not in SERVED:
            policy = re.search(r'Content-Security-Policy" content="([^"]*)"', text)
            assert policy and "default-src 'none'" in policy[1] and "base-uri 'none'" in policy[1], template.name
            if "<script>" in text:
                assert "script-src '{{ script_hash }}'" in policy[1], template.name
        assert not re.search(r"\|\s*safe\b|autoescape\s+false", text), template.name
        assert not re.search(r"\son\w+=", text), f"{template.name} has script in an attribute"


def test_scripts_never_make_elements_of_text():
    sinks = re.compile(
        r"innerHTML|outerHTML|insertAdjacentHTML|document\.write|\beval\(|new Function|srcdoc|setTimeout\([\"']"
    )
    scripts = [item for item in PAGES.iterdir() if item.name.endswith(".js")]
    assert len(scripts) >= 5
    for script in scripts:
        assert not sinks.search(script.read_text(encoding="utf-8")), script.name


# what is marked safe in these is our own files, JSON with <, > and & escaped, numbers, or escaped at its making
MARKS = {
    "inspection/page",
    "collection/page",
    "compare/page",
    "benchmark/page",
    "inspection/strip_plot",
    "pages/templates",
}


def test_every_page_is_rendered_with_escaping_on():
    """A module that is not known to mark text as safe must be looked at before it is added to MARKS."""
    for file in Path(page.__file__).parents[1].rglob("*.py"):
        text = file.read_text(encoding="utf-8")
        if "jinja2.Environment(" in text:
            assert "autoescape=True" in text, file.name
        assert f"{file.parent.name}/{file.stem}" in MARKS or not re.search(r"(?<![\w.])Markup\(", text), file.name
