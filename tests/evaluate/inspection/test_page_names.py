"""Names of pages: safe, told apart, and in the photographs' order."""

from pathlib import Path

import pytest

from dialtell.evaluate.inspection.page_names import LONGEST, page_names


def names(*photos):
    return page_names([Path(photo) for photo in photos])


def test_alike_names_are_told_apart_where_capitals_do_not_count():
    assert names("a/watch.jpg", "b/Watch.png", "watch-2.jpg", "c/watch.tif") == [
        "watch", "Watch-2", "watch-2-2", "watch-3",
    ]  # fmt: skip


def test_no_photograph_takes_the_index():
    assert names("INDEX.jpg", "index.png") == ["INDEX-2", "index-3"]


@pytest.mark.parametrize(
    ("given", "name"),
    [
        ("../../etc/passwd", "passwd"),
        ("a b&<c>'\".jpg", "a-b-c"),
        ("émail à la main.jpg", "émail-à-la-main"),
        ("e\u0301mail.jpg", "émail"),  # composed, so that both spellings of an accent are one name
        ("\u202ewatch.jpg", "watch"),
        ("\udcff\udcfe.jpg", "photo"),  # bytes that are no UTF-8
        ("???.jpg", "photo"),
        ("..hidden.jpg", "hidden"),
        ("con.jpg", "photo-con"),  # names of devices on Windows
        ("NUL.txt.jpg", "photo-NUL.txt"),
    ],
)
def test_names_are_safe(given, name):
    assert names(given) == [name]


def test_long_names_fit_a_file_system():
    first, second = names("時" * 200 + ".jpg", "時" * 201 + ".jpg")
    assert first != second and len(first) == LONGEST
    assert len(f"{second}.html".encode()) < 255
