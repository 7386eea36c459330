"""The judged photographs: their table is sound by itself, and true of the files where they lie beside the checkout."""

import csv
import hashlib
import shutil

import numpy as np
import pytest
from checkout import PHOTOS
from PIL import Image

from dialtell.evaluate.benchmark.judged import (
    LABELS,
    TABLE,
    judged_text,
    require_own_labels,
    write_judged_labels,
)
from dialtell.evaluate.cli.main import main
from dialtell.evaluate.museum.licence import PUBLIC_DOMAIN, admit
from dialtell.evaluate.museum.records import parse_records
from dialtell.evaluate.museum.web import Web
from dialtell.evaluate.museum.web_address import target_of
from dialtell.model.reading.geometry import DialGeometry
from dialtell.model.reading.known import read_outline
from dialtell.model.reading.steps import outlined
from dialtell.synth.shared.errors import OutputError
from dialtell.synth.shared.tables import parse_table
from dialtell.train.photographs.labels import read_labels

TABLE_READ = parse_table(judged_text(), TABLE, ("photo",))
ROWS = [TABLE_READ.named(cells) for _, cells in TABLE_READ.rows]
needs_photos = pytest.mark.skipif(
    not (PHOTOS / "manifest.csv").is_file(), reason=f"{PHOTOS} is not there: the table is compared with nothing"
)


def test_every_row_can_be_gathered():
    records = parse_records(judged_text(), TABLE)
    assert len(records) == len(ROWS) == 6
    for record, row in zip(records, ROWS, strict=True):
        assert admit(record.licence).licence == PUBLIC_DOMAIN
        assert record.title and record.date_text and record.attribution
        assert record.image_urls == (row["image_url"],)
        assert target_of(record.image_urls[0]).url == record.image_urls[0] and target_of(record.source)
        assert record.sha256 == row["sha256"] and len(record.sha256) == 64
    assert len({record.sha256 for record in records}) == len({record.image_urls for record in records}) == 6


def test_every_label_has_its_basis():
    for row in ROWS:
        assert row["basis"] == "by eye" and row["notes"] and row["outline"] and row["twelve_deg"]
        zones = {row[name] for name in ("signature", "numerals", "minute_track", "seconds_bit")} - {""}
        assert zones <= {row["dial_process"]}
    assert len({row["source"] for row in ROWS}) == 3  # three books, so three clusters


@needs_photos
@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["dial"])
def test_table_is_true_of_the_files(row):
    path = PHOTOS / row["photo"]
    assert hashlib.sha256(path.read_bytes()).hexdigest() == row["sha256"]
    with Image.open(path) as image:
        grey = np.asarray(image.convert("L"), np.float64)
    turn = np.linspace(0, 2 * np.pi, 180, endpoint=False)
    rim = np.stack([np.cos(turn), np.sin(turn)], axis=-1)
    dial: DialGeometry = outlined(read_outline(row["outline"]))
    height, width = grey.shape
    edge = dial.to_photo(rim)
    assert (edge >= 0).all() and (edge <= (width - 1, height - 1)).all()
    # something dark (a bezel, its shadow, the ground) begins where the outline says that the dial ends
    inside = np.median(_seen(grey, dial.to_photo(rim * 0.965)))
    darkest = [np.min([_seen(grey, dial.to_photo(rim * size)) for size in np.linspace(*band, 8)], axis=0)
               for band in ((0.985, 1.015), (0.94, 0.97))]  # fmt: skip
    assert inside - np.median(darkest[0]) > 20 > inside - np.median(darkest[1])


def _seen(grey, points):
    x, y = np.rint(points).astype(int).T
    return grey[y.clip(0, grey.shape[0] - 1), x.clip(0, grey.shape[1] - 1)]


@needs_photos
def test_table_has_all_that_are_in_the_public_domain():
    with (PHOTOS / "manifest.csv").open(encoding="utf-8", newline="") as stream:
        handed = {row["file"]: row for row in csv.DictReader(stream)}
    free = {name for name, row in handed.items() if row["licence"].startswith("public domain")}
    assert {row["photo"] for row in ROWS} == free and len(handed) == 7
    for row in ROWS:
        theirs = handed[row["photo"]]
        painted = theirs["label"] == "hand-painted"
        assert row["dial_process"] == ("painted" if painted else "cannot tell")
        assert (row["title"], row["date_text"]) == (theirs["object"], theirs["object_date"])
        across = 2 * read_outline(row["outline"]).a
        assert across == pytest.approx(float(theirs["dial_px_across"]), rel=0.1)


@pytest.fixture
def gathered(tmp_path, monkeypatch):
    """A folder with the six photographs under other names, gathered with no way to a network."""

    def asked(*_, **__):
        raise AssertionError("a server was asked for a file that is there")

    monkeypatch.setattr(Web, "fetch", asked)
    for number, row in enumerate(ROWS):
        shutil.copyfile(PHOTOS / row["photo"], tmp_path / f"My scan {number}.JPEG")
    assert main(["-q", "gather", "--judged", "--out", str(tmp_path)]) == 0
    return tmp_path


@needs_photos
def test_files_at_hand_are_labelled_without_a_network(gathered, capsys):
    photos = read_labels(gathered / LABELS)
    assert [photo.sha256 for photo in photos] == [row["sha256"] for row in ROWS]
    assert [photo.dial_process for photo in photos] == [row["dial_process"] for row in ROWS]
    assert all(photo.outline is not None and photo.path.parent == gathered for photo in photos)
    (gathered / photos[0].name).unlink()
    assert main(["-q", "gather", "--judged", "--out", str(gathered), "--json"]) == 0  # copied again
    assert read_labels(gathered / LABELS) == photos


@needs_photos
@pytest.mark.slow
def test_benchmark_makes_a_page_of_each(gathered, tmp_path, strict_json):
    out = tmp_path / "report"
    assert main(["-q", "benchmark", str(gathered / LABELS), "--out", str(out), "--pages", "all"]) == 0
    document = strict_json((out / "benchmark.json").read_text("utf-8"))
    assert document["dial"]["n"] == 2 and document["dial"]["clusters"] == 1
    assert (
        document["dial"]["wrong"] <= 1
    )  # the stopwatch plate, which tests/train/test_photographs.py expects, strictly
    assert len(document["rows"]) == 6
    text = (out / "benchmark.html").read_text("utf-8")
    for row in document["rows"]:
        assert (out / row["page"]).is_file() and f'href="{row["page"]}"' in text
        # the control and what is not resolved: nothing may be called
        assert row["label"] == "painted" or row["call"] == "undetermined"


def test_labels_of_photographs_that_are_there(tmp_path):
    assert write_judged_labels(tmp_path, {}) is None and not list(tmp_path.iterdir())
    row = ROWS[2]
    assert write_judged_labels(tmp_path, {row["sha256"]: "there.jpg"}) == tmp_path / LABELS
    written = (tmp_path / LABELS).read_text("utf-8").splitlines()
    assert len(written) == 2 and written[1].startswith(f"there.jpg,{row['sha256']},")
    require_own_labels(tmp_path)  # written here, so it may be written again


def test_labels_of_others_are_not_replaced(tmp_path, capsys):
    (tmp_path / LABELS).write_text("photo,dial_process\nmine.jpg,painted\n", encoding="utf-8")
    with pytest.raises(OutputError, match="holds other labels"):
        require_own_labels(tmp_path)
    assert main(["gather", "--judged", "--out", str(tmp_path)]) == 1
    assert "holds other labels" in capsys.readouterr().err
    assert "mine.jpg" in (tmp_path / LABELS).read_text("utf-8")


def test_pages_need_a_folder(tmp_path, capsys):
    assert main(["benchmark", str(tmp_path / "labels.csv"), "--pages", "all"]) == 1
    assert "pages is all but out is missing" in capsys.readouterr().err
