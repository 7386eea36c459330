"""The report: three sheets whatever it has to say, nothing past their edges, the same bytes for the same dial."""

import hashlib
import re
from dataclasses import replace

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from PIL import Image

from dialtell.evaluate.cli.main import main
from dialtell.evaluate.inspection.one_photo import inspect_photo
from dialtell.evaluate.inspection.reported import for_clients, in_rows
from dialtell.evaluate.paper import report as made
from dialtell.evaluate.paper.report import Report, Shown, report_pdf
from dialtell.evaluate.paper.sheet import HEIGHT, MARGIN
from dialtell.evaluate.words.cautions import CAUTIONS
from dialtell.evaluate.words.plain import zone_heading
from dialtell.model.reading.known import Known

PLAIN = np.full((60, 80, 3), 200, np.uint8)
SHORT = Report(
    ["watch.jpg"], "This dial looks printed.", "Moderate support", "About one in 20.", (), ("Why.",), PLAIN,
    [Shown("Minute track", "Its strokes.", "print", PLAIN)], [Shown("Signature", "Seen.", "hand", PLAIN, PLAIN, "4 e")],
    "", (), "Nothing.", ("Come closer.",), (), [("Weights, SHA-256", "ab" * 32)],
)  # fmt: skip
LONG = replace(
    SHORT, names=["a-very-long-name-" * 30 + ".jpg"] * 6, headline="Long. " * 60, strong="Much " * 40,
    dated=[("Both", "more and more " * 60)] * 3, reasons=["reason " * 400] * 3, parts=SHORT.parts * 9,
    not_judged=["nothing " * 90] * 9, missing="much " * 200, how=["how " * 300] * 9,
    warnings=["$x$ beware \u202e 時計 " * 90] * 40, versions=[("Photograph " + "n" * 300, "ab" * 32)] * 20,
    dial=np.full((300, 40, 3), 90, np.uint8),
)  # fmt: skip


def sheets_of(report, monkeypatch):
    kept = []
    monkeypatch.setattr(made, "pdf_of", lambda sheets, title: kept.extend(sheets) or b"")
    report_pdf(report)
    return kept


@pytest.mark.parametrize("report", [SHORT, LONG])
def test_three_sheets_of_a4_and_nothing_past_their_edges(report, monkeypatch):
    pdf = report_pdf(report)
    assert pdf.startswith(b"%PDF") and len(re.findall(rb"/Type /Page\b", pdf)) == 3
    boxes = re.findall(rb"/MediaBox \[([^\]]+)\]", pdf)
    assert {tuple(round(float(n) / 72 * 25.4) for n in box.split()) for box in boxes} == {(0, 0, 210, 297)}
    assert pdf == report_pdf(report)
    for sheet in sheets_of(report, monkeypatch):
        sheet.figure.set_dpi(250)  # letters as broad as in the PDF, which are not fitted to px
        canvas = FigureCanvasAgg(sheet.figure)
        canvas.draw()
        width, height = sheet.figure.bbox.size
        extents = [text.get_window_extent(canvas.get_renderer()) for text in sheet.figure.texts]
        assert max(box.x1 for box in extents) <= width * (1 - 0.8 * MARGIN / 210)
        assert min(box.y0 for box in extents) >= height * 8 / HEIGHT
        for axes in sheet.figure.axes:
            assert 0 <= axes.get_position().y0 and axes.get_position().x1 <= 1 - 0.99 * MARGIN / 210


def test_the_report_of_a_dial_says_what_its_page_says(drawn_photo, weighty, tmp_path, monkeypatch):
    kept = []
    monkeypatch.setattr(made, "pdf_of", lambda sheets, title: kept.extend(sheets) or b"%PDF")
    document = inspect_photo(
        drawn_photo, tmp_path / "a.html", weighty, known=Known(diameter_mm=44.873),
        report=tmp_path / "a.pdf",
    )  # fmt: skip
    assert document["report"] == str(tmp_path / "a.pdf") and (tmp_path / "a.pdf").read_bytes() == b"%PDF"
    words = [" ".join(text.get_text() for text in sheet.figure.texts) for sheet in kept]
    page = (tmp_path / "a.html").read_text("utf-8")
    headline = re.search("<h1>(.*)</h1>", page)[1]
    assert headline in words[0] and "Loudest: " in words[0] and document["dial"]["reason"].split(";")[0] in words[0]
    for zone in document["dial"]["zones"]:
        assert zone_heading(zone["zone"]) in words[1]
    everything = " ".join(words)
    for caution in CAUTIONS:
        assert caution[:40] in everything
    assert hashlib.sha256(drawn_photo.read_bytes()).hexdigest() in everything
    assert document["model"]["sha256"] in everything
    assert not re.search(r"log10|likelihood|logit|gradient|saliency|completeness", everything)
    assert len(kept[1].figure.axes) >= 5  # parts with their like strokes


def test_a_client_is_asked_for_no_flags():
    for text, left in (
        ("Where 12 stands is not certain; it is taken to be up. Give --twelve where it is not.",
         "Where 12 stands is not certain; it is taken to be up."),
        ("No call is made: which way is up was not made out; say where with --twelve.",
         "No call is made: which way is up was not made out."),
        ("Photograph them, and give them together with this one and --one-dial.",
         "Photograph them, and give them together with this one."),
        ("Or say where the dial ends: --outline.", ""),
        ("Plain words; and no flag.", "Plain words; and no flag."),
    ):  # fmt: skip
        assert for_clients(text) == left


def test_strokes_stand_apart_in_rows():
    cells = [np.full((40, 20, 3), k, np.uint8) for k in range(11)]
    sheet = in_rows(cells)
    seen = [sheet[top, left, 0] for top in (0, 42) for left in range(0, 6 * 22, 22)]
    assert seen == [*range(11), 255] and (sheet[40:42] == 255).all() and (sheet[:40, 20:22] == 255).all()
    assert in_rows(cells[:3]).shape[0] == 40


def test_the_command_takes_pdfs_alone(tmp_path, make_weights, capsys):
    Image.new("L", (200, 150), 90).save(tmp_path / "wall.png")
    words = ["inspect", str(tmp_path / "wall.png"), "--weights", str(make_weights()), "--out", str(tmp_path / "a.html")]
    assert main([*words, "--report", str(tmp_path / "a.txt")]) == 1
    assert "give FILE.pdf" in capsys.readouterr().err and not (tmp_path / "a.html").exists()
    assert main([*words, "--report", str(tmp_path / "a.pdf")]) == 0
    assert (tmp_path / "a.pdf").read_bytes().startswith(b"%PDF")
    assert main([*words, "--report", str(tmp_path / "a.pdf")]) == 1  # in the way
    capsys.readouterr()
    folder = ["inspect", str(tmp_path / "wall.png"), str(tmp_path / "wall.png"), *words[2:4]]
    assert main([*folder, "--out", str(tmp_path / "pages"), "--report", str(tmp_path / "reports")]) == 0
    assert [path.suffix for path in (tmp_path / "reports").iterdir()] == [".pdf"]
