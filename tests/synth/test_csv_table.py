"""Tables as spreadsheets save them: read strictly, cells taken as they are meant."""

import pytest

from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.shared.tables import LONGEST_FIELD, Table, guarded, read_table, rows_text, unguarded


def written(tmp_path, data):
    place = tmp_path / "table.csv"
    place.write_bytes(data)
    return place


def test_rows_keep_their_number_in_the_sheet(tmp_path):
    place = written(tmp_path, b'\xef\xbb\xbfphoto, note ,\r\n a.jpg ,"1, 2"\r\n,,\r\nb.jpg\r\n\'=c.jpg,x,,y\r\n')
    table = read_table(place, ("photo",))
    assert table.mark and table.head == ("photo", "note", "")
    assert [number for number, _ in table.rows] == [2, 4, 5]
    first, second, third = (cells for _, cells in table.rows)
    assert table.named(first) == {"photo": "a.jpg", "note": "1, 2", "": ""}
    assert table.named(second) == {"photo": "b.jpg", "note": "", "": ""}
    assert third[0] == "=c.jpg" and table.extra(third) and not table.extra(first)


def test_nothing_at_all_is_a_table_without_rows(tmp_path):
    assert read_table(written(tmp_path, b""), ("photo",)) == Table()


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"a,b\n", "has no column photo; its columns are a, b"),
        (b"photo;b\n", "save it with commas"),
        (b"photo,b,b\n", "has the column b more than once"),
        (b"photo\n\xff\n", "is not UTF-8 at byte 6; save it as CSV in UTF-8"),
        (b'photo\n"a"b\n', "is no CSV table"),
        (b"photo\n" + b"a" * (LONGEST_FIELD + 1), "is no CSV table"),
    ],
)
def test_what_is_wrong_is_said_with_the_file_and_the_remedy(data, said, tmp_path):
    place = written(tmp_path, data)
    with pytest.raises(ParameterError) as caught:
        read_table(place, ("photo",))
    assert str(caught.value).startswith(str(place)) and said in str(caught.value)


@pytest.mark.parametrize("cell", ["=1+1", "+1", "-1", "@x", "\tx", "'=1", "''=1", "plain", "'quoted'", ""])
def test_guarded_cells_come_back(cell):
    assert unguarded(guarded(cell)) == cell
    assert not guarded(cell).startswith(("=", "+", "-", "@", "\t"))


def test_words_are_guarded_and_numbers_written_as_they_are():
    rows = [("a", "=b", None), (-1, -0.000012345678, "-1"), ("line\rcut", 'say "so"', True)]
    assert rows_text(rows) == 'a,\'=b,\n-1,-1.2345678e-05,\'-1\n"line\rcut","say ""so""","True"\n'
    assert rows_text([(-0.000012345678, 1e5, 3)], floats="g") == "-1.23457e-05,100000,3\n"
