"""The whole path on a small scale: drawn "museum" photographs, a labels file, the benchmark, its page in a browser."""

import argparse
import csv
import html
import json
import re
import subprocess
import sys

import pytest
from page_opened import needs_browser, opened
from PIL import Image

from dialtell.evaluate.benchmark.page import page_text
from dialtell.evaluate.cli import benchmark as benchmark_command
from dialtell.synth.design.design import Variety
from dialtell.synth.scene import Range, render, sample_spec
from dialtell.synth.shared.errors import OutputError, ParameterError
from dialtell.synth.shared.terms import Process
from dialtell.train.photographs.labels import COLUMNS, LabelsError

EVIL = '"><img src=x onerror=alert(1)>'


@pytest.fixture(scope="module")
def museum(tmp_path_factory):
    """A folder of six drawn dials with labels.csv: six sound rows, then a missing file and a mistyped label."""
    folder = tmp_path_factory.mktemp("museum")
    scope = Range(
        pixels_per_radius=(440.0, 460.0), tilt=4.0, wear=(0.0, 0.1), max_side=1400, finished=0.0,
        variety=Variety(uncommon=0.0),
    )  # fmt: skip
    processes = (Process.HAND, Process.TRANSFER, Process.PHOTOGRAPHIC)
    with (folder / "labels.csv").open("w", encoding="utf-8", newline="") as stream:
        table = csv.DictWriter(stream, COLUMNS)
        table.writeheader()
        for index in range(6):
            process = processes[index % 3]
            spec = sample_spec(20_772, index, scope, process)
            Image.fromarray(render(spec)).save(folder / f"dial {index}.png")
            label = "printed" if process.printed else "painted"
            table.writerow(
                {"photo": f"dial {index}.png", "dial_process": label, "dial": f"dial {index}",
                 "source": EVIL if index > 3 else f"museum {index}", "object_type": ("watch", "clock")[index % 2],
                 "size_mm": round(2 * spec.design.radius_mm, 2), "basis": "record", "numerals": label,
                 "print_process": process.value if process.printed else ""}
            )  # fmt: skip
        table.writerow({"photo": "none.png", "dial_process": "painted"})
        table.writerow({"photo": "dial 0.png", "dial_process": "hand"})
    return folder


def run(*words):
    parser = argparse.ArgumentParser()
    benchmark_command.add_arguments(parser)
    args = parser.parse_args(list(map(str, words)))
    args.quiet = True
    return benchmark_command.run(args)


@pytest.fixture(scope="module")
def report(museum, make_weights, tmp_path_factory):
    """Folder of a report by weights that call everything painted, against some that call everything printed."""
    out = tmp_path_factory.mktemp("reports") / "report"
    weights = ("--weights", make_weights(9.0, 9.0), "--against", make_weights(-9.0, -9.0))
    assert run(museum / "labels.csv", *weights, "--out", out, "--draws", 100) == 1  # two rows could not be used
    return out


def test_report_holds_what_was_drawn(report, museum, strict_json):
    document = strict_json((report / "benchmark.json").read_text("utf-8"))
    assert document["schema"] == "dialtell.benchmark/1"
    assert [problem[:6] for problem in document["problems"]] == ["row 8:", "row 9:"]
    assert "none.png cannot be read" in document["problems"][0] and "is 'hand'" in document["problems"][1]
    dial = document["dial"]
    assert (dial["n"], dial["painted"], dial["printed"]) == (6, 2, 4)
    assert dial["clusters"] == 5  # the last two share a source
    called = {row["photo"]: row["call"] for row in document["rows"]}
    painted = [name for name, call in called.items() if call == "hand-painted"]
    assert len(painted) >= 2 and set(called.values()) <= {"hand-painted", "undetermined"}
    # every print that was called is a miss with a page of its own
    prints = {row["photo"] for row in document["rows"] if row["label"] == "printed" and row["photo"] in painted}
    assert {miss["photo"] for miss in document["misses"]} == prints and prints
    for miss in document["misses"]:
        assert "<title>" in (report / miss["page"]).read_text("utf-8")
    assert dial["wrong"] == len(prints) and dial["right"] == len(painted) - len(prints)
    with (report / "calls.csv").open(encoding="utf-8") as stream:
        assert [row["call"] for row in csv.DictReader(stream)] == list(called.values())
    # all painted against all printed: cost is 10 a wrong call, 1 an undetermined one
    first = document["against"]["tests"][0]
    open_ones = 6 - len(painted)
    assert first["first"] == pytest.approx((10 * len(prints) + open_ones) / 6, abs=1e-4)
    assert first["second"] == pytest.approx((10 * (len(painted) - len(prints)) + open_ones) / 6, abs=1e-4)
    for name in ("ratios", "reliability", "coverage"):
        with Image.open(report / f"{name}.png") as plot:
            assert plot.width > 400 and len(plot.convert("L").getcolors(256 * 256)) > 10  # something was drawn


def test_nothing_is_replaced_unasked(report, museum, make_weights):
    words = (museum / "labels.csv", "--weights", make_weights(9.0, 9.0), "--out", report)
    before = (report / "benchmark.html").read_bytes()
    with pytest.raises(OutputError, match=r"benchmark\.html exists; give another folder, or --overwrite"):
        run(*words)
    assert (report / "benchmark.html").read_bytes() == before
    with pytest.raises(OutputError, match="is no folder"):
        run(*words[:-1], museum / "labels.csv")
    with pytest.raises(OutputError, match="there is no folder"):
        run(*words[:-1], museum / "no" / "such")


def test_json_alone_goes_to_standard_output(museum, make_weights, tmp_path, capsys, strict_json):
    (tmp_path / "one.csv").write_text(f"photo,dial_process\n{museum / 'dial 1.png'},printed\n", encoding="utf-8")
    assert run(tmp_path / "one.csv", "--weights", make_weights(), "--json", "--draws", 100) == 0
    document = strict_json(capsys.readouterr().out)
    assert document["dial"]["n"] == 1 and document["problems"] == [] and document["dial"]["auc"] is None
    assert run(tmp_path / "one.csv", "--weights", make_weights(), "--draws", 100) == 0
    assert "What this allows one to claim" in capsys.readouterr().out


def test_the_labelled_outline_is_taken_when_asked(museum, make_weights, tmp_path, capsys, strict_json):
    row = f'"{museum / "dial 1.png"}",printed'
    words = (tmp_path / "one.csv", "--weights", make_weights(), "--json", "--draws", 100)
    (tmp_path / "one.csv").write_text(f"photo,dial_process,outline\n{row},400 400 300 299 0\n", encoding="utf-8")
    run(*words)
    found = strict_json(capsys.readouterr().out)["rows"][0]
    run(*words, "--outlines", "labelled")
    given = strict_json(capsys.readouterr().out)["rows"][0]
    assert found["outline_off"] is not None and given["outline_off"] is None
    assert given["px_per_mm"] != found["px_per_mm"]


def test_wrong_use_is_named(museum, tmp_path, make_weights):
    with pytest.raises(ParameterError, match="labels are missing"):
        run()
    with pytest.raises(ParameterError, match="given with ladder"):
        run(museum / "labels.csv", "--ladder")
    (tmp_path / "bad.csv").write_text("photo,dial_process\nnone.png,painted\n", encoding="utf-8")
    with pytest.raises(LabelsError, match=r"no row that can be used: row 2: .*none\.png cannot be read"):
        run(tmp_path / "bad.csv", "--weights", make_weights())


def test_help_comes_without_heavy_imports():
    program = (
        "import argparse, sys; from dialtell.evaluate.cli import benchmark as benchmark_command\n"
        "parser = argparse.ArgumentParser(); benchmark_command.add_arguments(parser); parser.format_help()\n"
        "print([name for name in ('torch', 'numpy', 'matplotlib', 'scipy') if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, timeout=60)
    assert (done.stdout, done.stderr) == ("[]\n", "")


def test_page_escapes_and_fetches_nothing(report):
    text = (report / "benchmark.html").read_text("utf-8")
    assert EVIL not in text and html.escape(EVIL, quote=False).replace('"', "&#34;") in text
    assert not re.search(r"""(?:src|href)\s*=\s*["'](?!data:|misses/)""", text)
    assert text.count("<figure>") == 3 and text.count("<figcaption>") == 3
    document = json.loads((report / "benchmark.json").read_text("utf-8"))
    for claim in document["claims"]:
        assert html.escape(claim) in text


PROBE = """<script>addEventListener("load", () => { document.body.dataset.told = JSON.stringify({
  wide: document.documentElement.scrollWidth, images: [...document.images].map((image) => image.naturalWidth)});
})</script></body>"""


@needs_browser
@pytest.mark.parametrize("width", [390, 1200])
def test_page_in_a_browser_is_no_wider_than_its_window(report, tmp_path, width):
    document = json.loads((report / "benchmark.json").read_text("utf-8"))
    plots = {name: (report / f"{name}.png").read_bytes() for name in ("ratios", "reliability", "coverage")}
    text = page_text(document, plots)
    text = re.sub(r'<meta http-equiv="Content-Security-Policy"[^>]*>', "", text).replace("</body>", PROBE)
    text = text.replace("document.body", "parent.document.body")
    frame = f'<!doctype html><body><iframe width="{width}" height="800" style="border:0" srcdoc="{{}}"></iframe>'
    path = tmp_path / "probe.html"
    path.write_text(frame.format(html.escape(text)), encoding="utf-8")
    dom, console = opened(path, tmp_path / "profile")
    told = json.loads(html.unescape(re.search(r'data-told="([^"]*)"', dom).group(1)))
    assert console == [] and told["wide"] <= width
    assert len(told["images"]) == 3 and all(size > 400 for size in told["images"])
