"""The whole path as a user walks it: museum photographs over the network, labels by keyboard, the benchmark's page.

The museum is a server on the loopback interface with drawn dials, so that what is true is known; everything else is
the shipped program with the shipped weights.
"""

import csv
import io
import json
import os
import re
import signal
import subprocess
import sys
from contextlib import contextmanager

import pytest
from label_page_driven import needs_browser, ready, rows_of, saved
from odd_server import OddServer, answer
from PIL import Image
from web_driver import ENTER, Browser

from dialtell.evaluate.cli.main import main
from dialtell.evaluate.museum.records import Record, records_text
from dialtell.synth.scene import Range, render, sample_spec
from dialtell.synth.shared.terms import Process

SCOPE = Range(pixels_per_radius=(400.0, 420.0), tilt=4.0, wear=(0.0, 0.1), max_side=1200)
# by accession number, which is also the order on the label page
DIALS = {
    "a1": Process.HAND, "a2": Process.TRANSFER, "a3": Process.HAND, "a4": Process.PHOTOGRAPHIC, "a5": Process.TRANSFER,
}  # fmt: skip


def drawn(index, process):
    """A dial as a museum would send it, a JPEG."""
    out = io.BytesIO()
    Image.fromarray(render(sample_spec(41_207, index, SCOPE, process))).save(out, "JPEG", quality=95)
    return out.getvalue()


@pytest.fixture(scope="module")
def museum():
    server = OddServer()
    server.routes = {f"/{name}.jpg": answer(drawn(index, DIALS[name])) for index, name in enumerate(DIALS)}
    yield server
    server.close()


def table_of(museum):
    """Five objects with a free photograph, and one that may not be taken."""
    records = [
        Record("City Museum", "CC0", (museum.url(f"/{name}.jpg"),), accession_number=name, title=f"Watch {name}",
               object_type="pocket watch", source="https://museum.example/" + name)
        for name in DIALS
    ]  # fmt: skip
    closed = Record("City Museum", "CC BY-NC 4.0", (museum.url("/closed.jpg"),), accession_number="b1")
    return records_text([*records, closed])


@contextmanager
def labelling(folder):
    """`dialtell label FOLDER` as a process of its own, and the address it printed; ended with Ctrl-C, it exits 0."""
    code = "import sys; from dialtell.evaluate.cli.main import main; sys.exit(main(sys.argv[1:]))"
    words = [sys.executable, "-c", code, "label", str(folder), "--labeller", "A. Person", "--no-browser"]
    with subprocess.Popen(words, stdout=subprocess.PIPE, text=True, env=os.environ | {"OMP_NUM_THREADS": "1"}) as run:
        try:
            yield run.stdout.readline().strip()
            run.send_signal(signal.SIGINT)
            assert run.wait(timeout=20) == 0
        finally:
            run.kill()


def label_by_keyboard(browser, address, folder, names):
    """What is true, except that a5 is called painted; its first label is taken back on the way."""
    browser.open(address)
    for name, process in DIALS.items():
        ready(browser, names[name])
        if name == "a1":
            browser.press("2")  # by mistake
            saved(folder, names[name], dial_process="printed")
            browser.press("u")
            browser.wait("document.getElementById('state').textContent === 'Taken back.'")
            assert rows_of(folder).get(names[name], {}).get("dial_process", "") == ""
            browser.press("d")
        if name == "a5" or not process.printed:
            browser.press("1", "a", "3", "n", "1")
            label = {"dial_process": "painted", "numerals": "painted"}
        else:
            kind = "2" if process is Process.PHOTOGRAPHIC else "1"
            browser.press("2", "p", kind, "a", "3", "n", "2")
            label = {"dial_process": "printed", "print_process": process.value, "numerals": "printed"}
        saved(folder, names[name], basis="examined object", labeller="A. Person", **label)
        browser.press(ENTER)
    browser.wait("document.getElementById('state').textContent === 'All photographs are labelled.'")


FIGURE = re.compile(r"^(-?[\d.]+)(?:\s%)?(?:\s\((-?[\d.]+) to (-?[\d.]+)\)|\s\(\?\))?$")
READ_TABLES = """
const cells = row => [["", row.querySelector("th")], ...[...row.querySelectorAll("td")].map(d => [d.dataset.label, d])];
const lines = part => [...part.querySelectorAll("tbody tr")].map(
  row => Object.fromEntries(cells(row).map(([name, cell]) => [name, cell.textContent])));
return Object.fromEntries([...document.querySelectorAll("section")].filter(part => part.querySelector("table"))
  .map(part => [part.querySelector("h2").textContent, lines(part)]));"""
GROUPS = {
    "By zone": "zones", "By truly resolved px/mm": "bands", "By process of the print": "processes",
    "By type of object": "object_types",
}  # fmt: skip
IN_PERCENT = {"called": "coverage", "right of called": "accuracy"}
AS_SHARES = {"AUC": "auc", "ECE": "ece", "Brier": "brier", "Cllr": "cllr"}


def assert_group(shown, said):
    """One line of a table on the page against one group of the document, to the digits that are shown."""
    assert int(shown["n"]) == said["n"] and int(shown["clusters"]) == said["clusters"]
    assert shown["painted / printed"] == f"{said['painted']} / {said['printed']}"
    for names, scale, slack in ((IN_PERCENT, 100, 0.5), (AS_SHARES, 1, 0.005)):
        for label, key in names.items():
            text, figure = shown[label].replace("\u00a0", " "), said[key]
            if figure is None:
                assert text == "-"
                continue
            found = FIGURE.match(text)
            assert found, text
            for number, name in zip(found.groups(), ("value", "low", "high"), strict=True):
                wanted = figure[name]
                assert (number is None) == (wanted is None), (text, figure)
                if wanted is not None:
                    assert float(number) == pytest.approx(scale * wanted, abs=slack + 1e-9), (text, figure)


def assert_page(browser, path, document):
    """The report's page opens without a word on the console and shows what the document says."""
    browser.open(path.as_uri())
    assert browser.console() == []
    assert browser.run("return [...document.images].map(image => image.naturalWidth > 400)") == [True] * 3
    whole = document["dial"]
    told = browser.run(
        "return [...document.querySelectorAll('.figures div')].map(d => Number(d.querySelector('dd').textContent))"
    )
    assert told == [whole[name] for name in ("n", "painted", "printed", "decided", "wrong")]
    assert f"{whole['decided']} of {whole['n']} labelled dials called" in browser.run(
        "return document.querySelector('h1').textContent"
    )
    tables = browser.run(READ_TABLES)
    assert_group(tables["Dials"][0], whole)
    for title, key in GROUPS.items():
        groups = [group for group in document[key] if group["n"]]
        assert [line[""] for line in tables[title]] == [group["group"] for group in groups]
        for line, group in zip(tables[title], groups, strict=True):
            assert_group(line, group)
    for line, row in zip(tables["Calls by label"], document["confusion"], strict=True):
        assert line.pop("") == row["label"]
        assert {call: int(count) for call, count in line.items()} == {k: v for k, v in row.items() if k != "label"}
    assert [line[""] for line in tables["Every miss"]] == [miss["photo"] for miss in document["misses"]]
    claims = browser.run("return [...document.querySelectorAll('[aria-labelledby=claims] li')].map(l => l.textContent)")
    assert claims == document["claims"]
    links = browser.run("return [...document.querySelectorAll('[aria-labelledby=misses] a')].map(a => a.href)")
    assert links == [(path.parent / miss["page"]).as_uri() for miss in document["misses"]]
    for link in links:
        browser.open(link)
        assert browser.run("return document.querySelector('h1').textContent.length") > 0
        assert browser.console() == []


@needs_browser
def test_from_a_museum_to_a_benchmark(museum, tmp_path, capsys, strict_json):
    (tmp_path / "records.csv").write_text(table_of(museum), encoding="utf-8")
    folder, out = tmp_path / "photographs", tmp_path / "report"
    words = ["--delay", "0", "--retries", "0", "--allow-host", f"127.0.0.1:{museum.port}", "--json"]
    assert main(["gather", str(tmp_path / "records.csv"), "--out", str(folder), *words]) == 0
    report = strict_json(capsys.readouterr().out)
    assert [len(report[fate]) for fate in ("fetched", "kept", "refused", "failed")] == [5, 0, 1, 0]
    assert "/closed.jpg" not in museum.asked  # refused before it was asked for
    with (folder / "manifest.csv").open(newline="", encoding="utf-8") as stream:
        names = {row["accession_number"]: row["file"] for row in csv.DictReader(stream)}
    assert list(names) == list(DIALS)

    with Browser(tmp_path / "profile") as browser:
        with labelling(folder) as address:
            label_by_keyboard(browser, address, folder, names)
        assert browser.console() == []
        rows = rows_of(folder)
        assert {row["dial"] for row in rows.values()} == {f"City Museum {name}" for name in DIALS}

        words = ["benchmark", str(folder / "labels.csv"), "--out", str(out), "--cluster", "dial", "--draws", "200"]
        assert main([*words, "--json"]) == 0
        document = strict_json(capsys.readouterr().out)
        assert document == json.loads((out / "benchmark.json").read_text("utf-8"))
        assert document["problems"] == [] and document["dial"]["n"] == 5 and document["dial"]["clusters"] == 5
        labelled = {row["photo"]: row["label"] for row in document["rows"]}
        assert labelled == {names[name]: "printed" if name in ("a2", "a4") else "painted" for name in DIALS}
        # the wrong label shows as a miss, with its page
        assert [miss["photo"] for miss in document["misses"]] == [names["a5"]]
        assert document["misses"][0]["kind"] == "painted, called printed"
        assert_page(browser, out / "benchmark.html", document)
