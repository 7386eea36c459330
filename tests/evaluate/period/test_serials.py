"""Years from the user's own table of serial numbers."""

import pytest

from dialtell.evaluate.period.serials import read_serials
from dialtell.synth.shared.errors import ParameterError


def table(tmp_path, text):
    path = tmp_path / "numbers.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_interpolation_between_rows_with_their_years_as_interval(tmp_path):
    serials = read_serials(table(tmp_path, 'serial,year,note\n"1,000,000",1876,begun\n2000000,1886,\n'))
    found = serials.years_of(1_250_000)
    assert found.best == pytest.approx(1878.5)
    assert (found.low, found.high) == (1875.5, 1886.5)
    exact = serials.years_of(2_000_000)
    assert (exact.low, exact.best, exact.high) == (1885.5, 1886, 1886.5)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("number,year\n1,1880\n", "no column serial; its columns are number"),
        ("serial,year\n1,1880\n", "at least 2"),
        ("serial,year\n1,1880\nx,1890\n", "row 3"),
        ("serial,year\n1,1880\n2,80\n", "row 3"),
        ("serial,year\n1,1880\n1,1881\n", "twice"),
        ("serial,year\n1,1890\n2,1880\n", "must rise"),
    ],
)
def test_bad_tables_are_named(tmp_path, text, said):
    with pytest.raises(ParameterError, match=said):
        read_serials(table(tmp_path, text))


def test_outside_the_table_there_is_no_year(tmp_path):
    serials = read_serials(table(tmp_path, "serial,year\n100,1876\n200,1886\n"))
    for serial in (99, 201):
        with pytest.raises(ParameterError, match="outside"):
            serials.years_of(serial)


def test_a_missing_table_is_named(tmp_path):
    with pytest.raises(ParameterError, match="cannot be read"):
        read_serials(tmp_path / "none.csv")
