"""The labels file while it is labelled: columns, rules, undo, other programs, deleted photographs, locks."""

from __future__ import annotations

import csv
import subprocess
import sys
from pathlib import Path

import pytest
from label_desk import draw

from dialtell.evaluate.label.photos import PhotoFolder
from dialtell.evaluate.label.sheet import LabelSheet, read_sheet
from dialtell.evaluate.label.store import SEEN, LabelStore
from dialtell.evaluate.museum.folder import COLUMNS as MANIFEST_COLUMNS
from dialtell.synth.shared.errors import OutputError, ParameterError, PhotoError
from dialtell.synth.shared.tables import guarded, unguarded
from dialtell.synth.shared.terms import Zone
from dialtell.train.photographs.labels import read_labels

HEAD = (
    "photo,sha256,dial,source,object_type,size_mm,labeller,basis,dial_process,print_process,signature,numerals,"
    "minute_track,seconds_bit,outline,twelve_deg,places,close_up,px_per_mm,zone,labelled_at,notes"
)


@pytest.fixture
def folder(tmp_path):
    for number, name in enumerate(("a.png", "b.png", "=c.png")):
        draw(tmp_path / "photos" / name, 30 + number)
    return tmp_path / "photos"


def photo_named(folder, name):
    return next(photo for photo in PhotoFolder(folder) if photo.name == name)


def rows_of(path):
    with open(path, newline="", encoding="utf-8") as stream:
        return list(csv.DictReader(stream))


def test_what_is_written_is_what_the_reader_reads(folder):
    table = folder / "labels.csv"
    with LabelStore(table, "A. Person") as store:
        a, c = photo_named(folder, "a.png"), photo_named(folder, "=c.png")
        assert table.read_text() == HEAD + "\n"
        store.change(a, {"dial_process": "printed"})
        store.change(a, {"print_process": "transfer"})
        store.change(a, {"notes": "=HYPERLINK(1)", "size_mm": "44,9", "dial": "ö 7"})
        store.set_outline(a, "-1.00 120.00 100.00 99.00 -3.00")
        said = store.change(c, {"dial_process": "painted"})
        assert said == []
    text = table.read_text()
    assert text.splitlines()[0] == HEAD
    assert ",'=HYPERLINK(1)\n" in text and "'-1.00 120.00" in text and "\n'=c.png," in text
    first, second = read_labels(table)
    assert (first.dial_process, first.print_process, first.size_mm, first.dial) == ("printed", "transfer", 44.9, "ö 7")
    assert (first.notes, first.basis, first.labeller) == ("=HYPERLINK(1)", "by eye", "A. Person")
    assert first.outline == (-1.0, 120.0, 100.0, 99.0, -3.0)
    assert second.name == "=c.png" and second.zones == {} and second.labelled_at.endswith("+00:00")


def test_no_sequence_of_labels_makes_a_row_the_reader_refuses(folder):
    table = folder / "labels.csv"
    with LabelStore(table) as store:
        a = photo_named(folder, "a.png")
        store.change(a, {"dial_process": "printed"})
        store.change(a, {"print_process": "photographic"})
        assert store.change(a, {"numerals": "painted"}) == [
            "numerals painted on a printed dial: the dial is now mixed."
        ]
        assert read_labels(table)[0].zones == {Zone.NUMERALS: "painted"}
        with pytest.raises(ParameterError, match="numerals labelled painted: then the dial is mixed"):
            store.change(a, {"dial_process": "printed"})
        assert store.change(a, {"dial_process": "painted"}) == ["The way of printing was emptied."]
        with pytest.raises(ParameterError, match="belongs to a printed or mixed dial"):
            store.change(a, {"print_process": "transfer"})
        for changes in ({"signature": "mixed"}, {"size_mm": "nan"}, {"photo": "x"}, {"notes": "x" * 1001}):
            with pytest.raises(ParameterError):
                store.change(a, changes)
        (row,) = read_labels(table)
        assert (row.dial_process, row.print_process) == ("painted", "")


@pytest.mark.parametrize("cell", ["=1+1", "+1", "-1", "@SUM", "\tx", "'=1", "''=1", "'", "it's", "", "1-2"])
def test_cells_a_sheet_would_run_come_back_as_they_were(cell):
    assert unguarded(guarded(cell)) == cell
    assert guarded(cell)[:1] not in ("=", "+", "-", "@", "\t")


def test_undo_takes_back_step_by_step_across_photographs(folder):
    table = folder / "labels.csv"
    with LabelStore(table) as store:
        a, b = photo_named(folder, "a.png"), photo_named(folder, "b.png")
        empty = table.read_text()
        store.change(a, {"dial_process": "printed"})
        store.change(b, {"dial_process": "painted"})
        for text in ("g", "gi", "gilt"):  # typing is one step
            store.change(b, {"notes": text})
        store.set_outline(b, "1.00 2.00 3.00 3.00 0.00")
        assert store.undo() == b.id and rows_of(table)[1]["outline"] == ""
        assert store.undo() == b.id and rows_of(table)[1]["notes"] == ""
        assert store.undo() == b.id and len(rows_of(table)) == 1
        assert store.undo() == a.id and table.read_text() == empty
        assert store.undo() is None


def test_rows_of_deleted_photographs_and_the_users_columns_stay(folder):
    table = folder / "labels.csv"
    table.write_text("\ufeffphoto,dial_process,mine\ngone.png,painted,kept\na.png,printed,too\n", encoding="utf-8")
    with LabelStore(table) as store:
        folder_now = PhotoFolder(folder)
        a = photo_named(folder, "a.png")
        assert store.strays(folder_now.photos) == 1 and store.labelled(a)
        store.change(a, {"numerals": "printed"})
        store.undo()
        store.change(a, {"numerals": "cannot tell"})
    text = table.read_text(encoding="utf-8")
    assert text.splitlines()[0] == "\ufeff" + HEAD + ",mine"
    gone, kept = read_sheet(table).rows
    assert (gone["photo"], gone["dial_process"], gone["mine"]) == ("gone.png", "painted", "kept")
    assert (kept["sha256"], kept["numerals"], kept["mine"]) == (a.id, "cannot tell", "too")


def test_labels_follow_a_renamed_photograph_and_leave_a_changed_one(folder):
    table = folder / "labels.csv"
    with LabelStore(table) as store:
        store.change(photo_named(folder, "a.png"), {"dial_process": "printed"})
        store.change(photo_named(folder, "b.png"), {"dial_process": "painted"})
    (folder / "a.png").rename(folder / "d.png")
    draw(folder / "b.png", 99)
    with LabelStore(table) as store:
        assert store.labelled(photo_named(folder, "d.png")) and not store.labelled(photo_named(folder, "b.png"))
        store.change(photo_named(folder, "d.png"), {"signature": "printed"})
    assert [row["photo"] for row in rows_of(table)] == ["d.png", "b.png"]


def test_what_another_program_saved_meanwhile_is_kept(folder):
    table = folder / "labels.csv"
    with LabelStore(table) as store:
        a, b = photo_named(folder, "a.png"), photo_named(folder, "b.png")
        store.change(a, {"dial_process": "printed"})
        table.write_text(table.read_text().replace(",,\n", ",,\n") + "other.png" + "," * HEAD.count(",") + "theirs\n")
        store.change(b, {"dial_process": "painted"})
        assert [row["notes"] for row in rows_of(table)] == ["", "theirs", ""]
        table.write_text("nothing\n")
        with pytest.raises(ParameterError, match="no column photo"):
            store.change(b, {"notes": "x"})
        assert table.read_text() == "nothing\n"


def test_a_change_that_cannot_be_saved_is_not_held(folder, monkeypatch):
    with LabelStore(folder / "labels.csv") as store:
        a = photo_named(folder, "a.png")

        def full(*_, **__):
            raise OutputError("disk full")

        with monkeypatch.context() as patch:
            patch.setattr("dialtell.evaluate.label.store.write_text", full)
            with pytest.raises(OutputError):
                store.change(a, {"dial_process": "printed"})
        assert not store.labelled(a) and store.undo() is None
        assert not list(folder.glob("*.part")) + list(folder.glob(".*.part"))


def test_one_process_at_a_time(folder):
    table = folder / "labels.csv"
    code = (
        "import sys; from pathlib import Path; from dialtell.evaluate.label.store import LabelStore\n"
        "from dialtell.synth.shared.errors import OutputError\n"
        "try:\n  with LabelStore(Path(sys.argv[1])): print('in')\n"
        "except OutputError as error: print(error)\n"
    )

    def other():
        done = subprocess.run([sys.executable, "-c", code, str(table)], capture_output=True, text=True, check=True)
        return done.stdout.strip()

    with LabelStore(table) as store:
        assert "is being labelled by another `dialtell label`; end that one, or give another --csv" in other()
        a = photo_named(folder, "a.png")
    with pytest.raises(OutputError, match="no longer open"):  # a request that comes too late
        store.change(a, {"dial_process": "printed"})
    assert other() == "in" and [path.name for path in folder.glob(".*")] == []


def test_a_file_is_one_labellers(folder):
    table = folder / "labels.csv"
    with LabelStore(table, "Anna") as store:
        store.change(photo_named(folder, "a.png"), {"dial_process": "printed"})
    with pytest.raises(
        ParameterError, match=r"labels by Anna; give Bert a file of their own, such as --csv .*/labels-2.csv"
    ):
        LabelStore(table, "Bert").__enter__()
    with LabelStore(table) as store:
        assert store.labeller == "Anna"


def test_one_dial_labelled_two_ways_is_said(folder):
    with LabelStore(folder / "labels.csv") as store:
        a, b = photo_named(folder, "a.png"), photo_named(folder, "b.png")
        store.change(a, {"dial": "7", "dial_process": "printed"})
        said = store.change(b, {"dial": "7", "dial_process": "painted"})
        assert said == ["The same dial is labelled printed in a.png; one dial has one label."]
        assert store.change(b, {"dial": "8"}) == []


def test_labels_given_with_the_call_in_view_are_marked(folder):
    with LabelStore(folder / "labels.csv") as store:
        a = photo_named(folder, "a.png")
        store.change(a, {"dial_process": "printed"})
        store.change(a, {"notes": "worn"}, seen=True)
        assert store.row(a)["notes"] == "worn"
        store.change(a, {"dial_process": "painted"}, seen=True)
        store.change(a, {"numerals": "painted"}, seen=True)
        assert store.row(a)["notes"] == f"worn {SEEN}"


def test_what_gather_knows_is_filled_in(folder):
    a = photo_named(folder, "a.png")
    values = {"file": "a.png", "sha256": a.id, "museum": "Museum X", "accession_number": "1.2", "object_type": "watch"}
    with open(folder / "manifest.csv", "w", newline="") as stream:
        table = csv.DictWriter(stream, MANIFEST_COLUMNS)
        table.writeheader()
        table.writerow(dict.fromkeys(MANIFEST_COLUMNS, "") | values)
    a = photo_named(folder, "a.png")
    assert a.known == {"dial": "Museum X 1.2", "source": "Museum X", "object_type": "watch"}
    with LabelStore(folder / "labels.csv") as store:
        assert store.row(a)["source"] == "Museum X" and not store.labelled(a)
        store.change(a, {"dial_process": "painted"})
        assert rows_of(folder / "labels.csv")[0]["dial"] == "Museum X 1.2"
        assert photo_named(folder, "b.png").known == {}


def test_links_out_of_the_folder_copies_and_odd_names_are_left_out(folder, tmp_path):
    outside = draw(tmp_path / "secret.png", 77)
    (folder / "link.png").symlink_to(outside)
    (folder / "inner.png").symlink_to(folder / "a.png")
    draw(folder / "e.png", 30)  # a copy of a.png
    draw(folder / "line\nbreak.png", 78)
    photos = PhotoFolder(folder)
    assert [photo.name for photo in photos] == ["=c.png", "a.png", "b.png"]
    why = {path.name: words for path, words in photos.left_out}
    assert "is a link out of the folder" in why["link.png"] and "is a copy of a.png" in why["e.png"]
    assert "has a name that a table cannot hold" in why["line\nbreak.png"]
    a = photo_named(folder, "a.png")
    (folder / "a.png").unlink()
    (folder / "a.png").symlink_to(outside)  # swapped for a link while the page is open
    with pytest.raises(PhotoError, match="link out of the folder"):
        photos.checked(a.id)
    (folder / "a.png").unlink()
    draw(folder / "a.png", 120)
    with pytest.raises(PhotoError, match="was changed"):
        photos.checked(a.id)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("photo;dial_process\n", "save it with commas"),
        ("photo,photo,dial_process\n", "column photo more than once"),
        ("photo,dial_process\na,b,c\n", "row 2 has 3 cells under a head of 2"),
        ('photo,dial_process\n"a\n', "no CSV table"),
        (b"photo,dial_process\n\xff,\n", "not UTF-8 at byte 19"),
    ],
)
def test_tables_that_are_none_are_refused_in_words(tmp_path, text, said):
    path = tmp_path / "labels.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    with pytest.raises(ParameterError, match=said):
        read_sheet(path)
    assert LabelSheet().text().strip() == HEAD


def test_table_elsewhere_names_photographs_from_there(folder, tmp_path):
    table = tmp_path / "tables" / "labels.csv"
    table.parent.mkdir()
    with LabelStore(table) as store:
        store.change(photo_named(folder, "a.png"), {"dial_process": "printed"})
    assert rows_of(table)[0]["photo"] == "../photos/a.png"
    assert read_labels(table)[0].path == Path(table.parent, "../photos/a.png")
    with pytest.raises(OutputError, match="there is no folder"):
        LabelStore(tmp_path / "no" / "labels.csv").__enter__()
