import argparse

import pytest

from dialtell.evaluate.cli.flags import number, whole


@pytest.mark.parametrize(("text", "value"), [("1", 1), ("007", 7), ("10", 10)])
def test_whole_numbers_within(text, value):
    assert whole(1, 10)(text) == value


@pytest.mark.parametrize("text", ["0", "11", "-1", "+1", "1.0", "1_0", " 7", "٣", "", "x", "9" * 5000])
def test_whole_numbers_without(text):
    with pytest.raises(argparse.ArgumentTypeError, match=r"is no whole number from 1 to 10$"):
        whole(1, 10)(text)


def test_no_upper_end():
    assert whole(1)("999999999999") == 999_999_999_999
    with pytest.raises(argparse.ArgumentTypeError, match=r"'0' is no whole number from 1 upwards$"):
        whole(1)("0")


def test_numbers():
    read = number(0.5, 2000, "px/mm")
    assert [read(text) for text in ("0.5", "2e3", " 7 ")] == [0.5, 2000.0, 7.0]
    for text in ("0.4", "2001", "nan", "inf", "-1", "x", ""):
        with pytest.raises(argparse.ArgumentTypeError, match=r"is no number from 0.5 to 2000 px/mm$"):
            read(text)
    with pytest.raises(argparse.ArgumentTypeError, match=r"'x' is no number from 0 to 1$"):
        number(0, 1)("x")
