import csv
import re

import pytest
from checkout import MUSEUM_RECORDS

from dialtell.evaluate.museum.licence import admit
from dialtell.evaluate.museum.records import (
    COLUMNS,
    Record,
    parse_records,
    plain,
    read_records,
    records_text,
    shipped_records,
)
from dialtell.evaluate.museum.web_address import target_of
from dialtell.synth.shared.errors import ParameterError


def test_shipped_records_are_free_and_fetchable():
    records = shipped_records()
    # counted in the museums' metadata the table was made from: 111, 39 and 2 objects, two without a photograph
    count = {name: sum(record.museum == name for record in records) for name in {record.museum for record in records}}
    assert count == {"Walters Art Museum": 111, "Metropolitan Museum of Art": 39, "Livrustkammaren": 2}
    assert sum(not record.image_urls for record in records) == 2
    assert len({url for record in records for url in record.image_urls}) == 344
    assert len({(record.museum, record.name) for record in records}) == 152
    for record in records:
        assert admit(record.licence) and record.title and target_of(record.source)
        assert all(target_of(url).url == url for url in record.image_urls)
        if record.year_begin is not None:
            assert record.year_end is not None and 1500 <= record.year_begin <= record.year_end <= 1912
    assert sum(record.dial_replaced_in_text for record in records) == 2


def test_shipped_table_is_clean():
    text = records_text(shipped_records())
    # signs of UTF-8 read as something else, of HTML, and of Windows line ends
    assert not re.search(r"Ã|â€|Â|\ufffd|&[a-z#0-9]+;|<[a-z]|\r|  |\t", text)
    assert parse_records(text, "again") == shipped_records()
    unused = [name for name in COLUMNS if all(line.get(name) in ("", "0") for line in _rows(text))]
    assert unused == ["attribution", "sha256"]  # CC0 asks for none; the museums state no hash


@pytest.mark.skipif(not MUSEUM_RECORDS.is_file(), reason=f"{MUSEUM_RECORDS} is not there: compared with nothing")
def test_shipped_table_lacks_nothing_of_what_was_collected():
    """Object by object and photograph by photograph, as the table collected from the museums' metadata has it."""
    with MUSEUM_RECORDS.open(newline="", encoding="utf-8") as stream:
        handed = list(csv.DictReader(stream))
    assert len(handed) == len(shipped_records()) == 152
    same = ("object_id", "accession_number", "title", "object_type", "date_text", "medium", "dial_mentioned")
    for row, record in zip(handed, shipped_records(), strict=True):
        assert {name: plain(row[name]) for name in same} == {name: getattr(record, name) for name in same}
        assert [row["year_begin"], row["year_end"]] == [str(y or "") for y in (record.year_begin, record.year_end)]
        assert (row["dial_replaced_in_text"] == "1") == record.dial_replaced_in_text
        urls = [url for url in (row["image_url"], *row["more_image_urls"].split(";")) if url]
        assert list(record.image_urls) == list(dict.fromkeys(urls))
        assert admit(row["licence"]).licence == "CC0 1.0" == admit(record.licence).licence
        assert record.museum in row["museum"]  # shortened for one museum


def _rows(text):
    return list(csv.DictReader(text.splitlines()))


def test_reads_its_own_and_tolerates_more(tmp_path):
    table = tmp_path / "mine.csv"
    table.write_bytes(
        b"\xef\xbb\xbflicence,image_url,notes,more_image_urls,title,year_begin\r\n"
        b'CC0,http://h/1,x,http://h/2;http://h/1 http://h/3,"Watch,\r\n  e\xcc\x81lan",-20\r\n'
    )
    (one,) = read_records(table)
    assert one.image_urls == ("http://h/1", "http://h/2", "http://h/3")
    assert (one.title, one.year_begin, one.museum, one.name) == ("Watch, élan", -20, "", "Watch, élan")
    assert parse_records(records_text([one]), "again") == [one]


def test_semicolon_inside_a_url_stays():
    (one,) = parse_records("licence,image_url,more_image_urls\nCC0,http://h/a;b,http://h/c;d;http://h/e\n", "t")
    assert one.image_urls == ("http://h/a;b", "http://h/c;d", "http://h/e")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "t is empty; give a table with the columns museum, "),
        ("licence,url\nCC0,x\n", "t has no column image_url"),
        ("licence,image_url\nCC0,http://h/a,b\n", "t, row 2: 3 cells under 2 columns; put cells with commas in"),
        ("licence,image_url\nCC0\n", "t, row 2: 1 cells under 2 columns"),
        ("licence,image_url,year_end\nCC0,x,ca. 1800\n", "t, row 2: year_end is 'ca. 1800'; give a year such as 1885"),
        ("licence,image_url,dial_replaced_in_text\nCC0,x,maybe\n", "dial_replaced_in_text is 'maybe'; give 1, 0 or"),
        ('licence,image_url\n"CC0,x\n', "t is no CSV table (unexpected end of data); save it as CSV again"),
    ],
)
def test_bad_table_is_refused_in_words(text, said):
    with pytest.raises(ParameterError, match=re.escape(said)):
        parse_records(text, "t")


def test_bad_file_is_refused_in_words(tmp_path):
    table = tmp_path / "latin.csv"
    table.write_bytes("licence,image_url,title\nCC0,x,élan\n".encode("latin-1"))
    with pytest.raises(ParameterError, match=r"latin\.csv is not UTF-8 at byte 30; save it as CSV in UTF-8"):
        read_records(table)
    with pytest.raises(ParameterError, match=r"missing\.csv cannot be read"):
        read_records(tmp_path / "missing.csv")
    with pytest.raises(ParameterError, match="cannot be read"):
        read_records(tmp_path)


def test_record_without_a_number_is_called_by_its_title():
    assert Record("M", "CC0", (), title="Watch").name == "Watch" and Record("M", "CC0", ()).name == "unnamed"


def test_hash_of_a_photograph_is_read_and_written():
    digest = "0123456789abcdef" * 4
    record = Record("M", "CC0", ("https://example.org/1.jpg",), sha256=digest)
    assert parse_records(records_text([record]), "again") == [record]
    with pytest.raises(ParameterError, match="row 2: sha256 is 'abc'; give 64 hexadecimal digits"):
        parse_records("licence,image_url,sha256\nCC0,https://example.org/1.jpg,abc\n", "t.csv")
