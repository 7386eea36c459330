"""Labels files: what is read, and that every fault is named by its row and none is used."""

from __future__ import annotations

import hashlib
from pathlib import Path

import pytest

from dialtell.model.reading.known import MarkedPlace, Outline
from dialtell.synth.shared.terms import Zone
from dialtell.train.photographs.labels import COLUMNS, LabelsError, check_labels, read_labels


def sheet(folder: Path, *rows: str, head: str = "photo,dial_process") -> Path:
    for name in ("a.png", "b.png", "c.png", "-d.png"):
        (folder / name).write_bytes(name.encode())
    path = folder / "labels.csv"
    path.write_text("\n".join([head, *rows]) + "\n", encoding="utf-8")
    return path


def test_all_columns_are_read(tmp_path: Path) -> None:
    digest = hashlib.sha256(b"a.png").hexdigest()
    row = (
        f'a.png,{digest.upper()},dial 7,"a book, volume 2",pocket watch,44.9,me,record,mixed,transfer,'
        "painted,printed,cannot tell,,501.5 400 200 190.5 -3,90,hand 1 2 3 4 5 6.5,,,,2026-11-25,'=SUM(A1)"
    )
    (photo,) = read_labels(sheet(tmp_path, row, head=",".join(COLUMNS)))
    assert (photo.row, photo.path, photo.sha256) == (2, tmp_path / "a.png", digest)
    assert (photo.dial, photo.source, photo.size_mm) == ("dial 7", "a book, volume 2", 44.9)
    assert photo.outline == Outline(501.5, 400.0, 200.0, 190.5, -3.0)
    assert photo.known().places == (MarkedPlace("hand", ((1.0, 2.0), (3.0, 4.0), (5.0, 6.5))),)
    assert photo.known(outlines=False).places == ()
    assert photo.zones == {Zone.SIGNATURE: "painted", Zone.NUMERALS: "printed", Zone.MINUTE_TRACK: "cannot tell"}
    assert photo.notes == "=SUM(A1)"  # the guard against formulas is taken off


def test_two_columns_are_enough_and_a_guarded_path_is_found(tmp_path: Path) -> None:
    first, second = read_labels(sheet(tmp_path, "a.png,painted", "", "'-d.png,"))
    assert (first.dial_process, first.zones, first.outline, first.size_mm) == ("painted", {}, None, None)
    assert (second.row, second.name, second.dial_process) == (4, "-d.png", "")


@pytest.mark.parametrize(
    ("head", "row", "said"),
    [
        ("photo,dial_process", "a.png,hand", "dial_process is 'hand'; give painted, printed, mixed or cannot tell"),
        ("photo,dial_process", ",painted", "photo is empty"),
        ("photo,dial_process", "none.png,painted", "none.png cannot be read (No such file or directory)"),
        ("photo,dial_process", "a.png,painted,more", "more cells than there are columns"),
        ("photo,dial_process,numerals", "a.png,mixed,mixed", "numerals is 'mixed'; give painted, printed or cannot"),
        ("photo,dial_process,numerals", "a.png,painted,printed", "then the dial is mixed"),
        ("photo,dial_process,print_process", "a.png,painted,transfer", "only for printed and mixed dials"),
        ("photo,dial_process,size_mm", "a.png,painted,nan", "size_mm is 'nan'; give a diameter from 10 to 600 mm"),
        ("photo,dial_process,basis", "a.png,painted,guess", "basis is 'guess'; give by eye, record or examined"),
        ("photo,dial_process,outline", "a.png,painted,1 2 3", "outline is '1 2 3'; give five numbers"),
        ("photo,dial_process,outline", "a.png,painted,1 2 3 4 0", "semi-axes a >= b > 0"),
        ("photo,dial_process,places", "a.png,painted,thumb 1 2 3 4 5 6", "give what lies there"),
        ("photo,dial_process,places", "a.png,painted,hand 1 2 3 4", "has 2 corners"),
        ("photo,dial_process,sha256", f"a.png,painted,{'0' * 64}", "000000000000... was labelled; it has changed"),
        ("photo,dial_process,sha256", "a.png,painted,12", "give 64 hexadecimal digits"),
    ],
)
def test_a_faulty_row_is_named_and_not_used(tmp_path: Path, head: str, row: str, said: str) -> None:
    path = sheet(tmp_path, "b.png,painted", row, "c.png,printed", head=head)
    sound, problems = check_labels(path)
    assert [photo.name for photo in sound] == ["b.png", "c.png"]
    assert len(problems) == 1 and problems[0].startswith("row 3: ") and said in problems[0]
    with pytest.raises(LabelsError, match=r"1 faulty rows; mend or strike them out:\n  row 3: "):
        read_labels(path)


def test_one_photograph_under_two_names_loses_both_rows(tmp_path: Path) -> None:
    path = sheet(tmp_path, "a.png,painted", "copy.png,printed", "b.png,printed")
    (tmp_path / "copy.png").write_bytes(b"a.png")
    sound, problems = check_labels(path)
    assert [photo.name for photo in sound] == ["b.png"]
    assert problems == (
        "row 2: a.png is the same photograph as row 3 (copy.png); keep one row of it",
        "row 3: copy.png is the same photograph as row 2 (a.png); keep one row of it",
    )


def test_two_photographs_of_one_dial_must_agree(tmp_path: Path) -> None:
    rows = ("a.png,painted,7,x", "b.png,printed,7,x", "c.png,printed,7,y", "-d.png,cannot tell,7,y")
    sound, problems = check_labels(sheet(tmp_path, *rows, head="photo,dial_process,dial,source"))
    assert [photo.name for photo in sound] == ["c.png", "-d.png"]
    assert problems[0] == "row 2: dial 7 is painted here but printed in row 3; one dial has one label"


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "is empty"),
        (b"photo,notes\n", "no column dial_process"),
        (b"photo,dial_process,photo\n", "the column photo more than once"),
        (b"photo,dial_process\n\xff,x\n", "not UTF-8"),
        (b'photo,dial_process\n"a"b,x\n', "no CSV table"),
    ],
)
def test_a_file_that_is_no_labels_file_says_why(tmp_path: Path, content: bytes, said: str) -> None:
    path = tmp_path / "labels.csv"
    path.write_bytes(content)
    with pytest.raises(LabelsError, match=said):
        check_labels(path)
    with pytest.raises(LabelsError, match="cannot be read"):
        check_labels(tmp_path / "none.csv")


def test_a_byte_order_mark_and_windows_line_ends_are_read(tmp_path: Path) -> None:
    path = sheet(tmp_path)
    path.write_bytes(b"\xef\xbb\xbfphoto,dial_process\r\na.png,printed\r\n")
    assert [photo.dial_process for photo in read_labels(path)] == ["printed"]
