"""Photographs named by address: the rows of the same files by path, and nothing asked that was not named."""

import csv
import os
import shutil
import sys
import time
from importlib import resources
from pathlib import Path

import pytest
from odd_server import answer, redirect

from dialtell.evaluate.cli.main import main
from dialtell.evaluate.museum import web
from dialtell.evaluate.score import addresses, stream
from dialtell.evaluate.score.addresses import Fetcher, listed, sound
from dialtell.synth.shared.errors import DialtellError, OutputError, ParameterError, PhotoError

EXAMPLE = Path(str(resources.files("dialtell.evaluate"))) / "examples" / "too-small.jpg"
PICTURE = EXAMPLE.read_bytes()


@pytest.fixture
def store(monkeypatch):
    """fsspec's store in memory, let through as a store of the program's."""
    import fsspec

    monkeypatch.setattr(addresses, "STORES", ("memory",))
    system = fsspec.filesystem("memory")
    system.pipe("/archive/a.jpg", PICTURE)
    yield system
    system.store.clear()


def rows(table):
    with table.open(newline="", encoding="utf-8") as file:
        return [row[1:] for row in csv.reader(file)]


def scored(tmp_path, server, *photos):
    words = ["score", *photos, "--csv", str(tmp_path / "calls.csv"), "--workers", "1", "--quiet"]
    return main([*words, "--allow-host", f"127.0.0.1:{server.port}"]), tmp_path / "calls.csv"


def test_rows_are_those_of_the_file_wherever_it_lies(tmp_path, server, store):
    shutil.copy(EXAMPLE, near := tmp_path / "a b.jpg")
    server.routes = {"/a.jpg": redirect("/b.jpg"), "/b.jpg": answer(PICTURE)}
    places = [str(near), near.as_uri(), "memory://archive/a.jpg", server.url("/a.jpg?size=full")]
    code, table = scored(tmp_path, server, *places)
    found = rows(table)[1:]
    assert code == 0 and len(found) == 4 and found.count(found[0]) == 4 and found[0][0] == "undetermined"
    with table.open(newline="", encoding="utf-8") as file:
        assert [row[0] for row in csv.reader(file)][1:] == places
    code, table = scored(tmp_path, server, *places)  # goes on: nothing is asked again
    assert code == 0 and server.asked == ["/a.jpg?size=full", "/b.jpg"]


def test_a_list_names_them_a_line_each_or_in_a_column(tmp_path, server):
    server.routes = {"/a.jpg": answer(PICTURE)}
    (tmp_path / "list.txt").write_text(f"\ufeff{server.url('/a.jpg')}\r\n\r\n{EXAMPLE}\n")
    (tmp_path / "list.csv").write_text(f"lot,photo\n1,{server.url('/a.jpg')}\n2,{EXAMPLE}\n")
    assert listed(tmp_path / "list.txt") == listed(tmp_path / "list.csv") == [server.url("/a.jpg"), str(EXAMPLE)]
    code, table = scored(tmp_path, server, "--list", str(tmp_path / "list.csv"))
    assert code == 0 and len(rows(table)) == 3
    with pytest.raises(ParameterError, match="no column photo"):
        (tmp_path / "other.csv").write_text("lot\n1\n")
        listed(tmp_path / "other.csv")


def test_hosts_that_are_not_named_are_said_before_anything_is_asked(tmp_path, server, capsys):
    code, table = scored(tmp_path, server, server.url("/a.jpg"), "http://169.254.169.254/latest", "https://b.example/x")
    said = capsys.readouterr().err
    assert code == 1 and "169.254.169.254:80, b.example:443" in said and "--allow-host" in said
    assert server.asked == [] and not table.exists()


@pytest.mark.parametrize(
    "address",
    ["ftp://example.org/a.jpg", "zip://a.jpg::http://127.0.0.1/a.zip", "s3://b/a::http://127.0.0.1/", "memory://a",
     "file://server/share/a.jpg", "file://a.jpg", "http://user@127.0.0.1:9/a", "https:///a", "http://a b/", "sftp://h/a",
     "reference://x", "s3a://b/k", "s3://b", "s3://b/", "s3:///k", "s3://b c/k", "github://o:r@/p"],
)  # fmt: skip
def test_what_is_no_address_of_ours_is_said_and_not_asked(address):
    good, bad = sound([address], [("127.0.0.1", 9)])
    assert good == [] and [place for place, _ in bad] == [address]


@pytest.mark.parametrize(
    "onward", ["http://127.0.0.1:9/a.jpg", "http://localhost:{port}/a.jpg", "http://169.254.169.254/", "file:///etc/passwd",
               "http://example.org/a.jpg", "s3://bucket/key"],
)  # fmt: skip
def test_redirects_lead_to_named_hosts_alone(onward, server):
    server.routes = {"/a.jpg": redirect(onward.format(port=server.port))}
    with pytest.raises(DialtellError), Fetcher([server.place]).brought(server.url("/a.jpg")):
        pass
    assert server.asked == ["/a.jpg"]


@pytest.mark.parametrize(
    "behave",
    [answer(PICTURE, Content_Length="999999999"), answer(PICTURE * 40, Content_Length=None),
     answer(b"<p>", kind="text/html"), answer(b"", status=404), answer(PICTURE, Content_Encoding="gzip")],
)  # fmt: skip
def test_answers_that_are_no_photograph_are_rows_of_an_error(behave, tmp_path, server, monkeypatch):
    monkeypatch.setattr(addresses, "LARGEST", 20 * len(PICTURE))
    server.routes = {"/a.jpg": behave, "/b.jpg": answer(PICTURE)}
    code, table = scored(tmp_path, server, server.url("/a.jpg"), server.url("/b.jpg"))
    _, bad, good = rows(table)
    assert code == 1 and "127.0.0.1" in bad[stream.COLUMNS.index("error") - 1] and good[0] == "undetermined"


def test_damaged_photographs_are_named_by_their_address(tmp_path, server):
    server.routes = {"/a.jpg": answer(PICTURE[:3000])}
    _, table = scored(tmp_path, server, server.url("/a.jpg"))
    error = rows(table)[1][stream.COLUMNS.index("error") - 1]
    assert error.startswith(server.url("/a.jpg")) and "/tmp" not in error


@pytest.mark.parametrize("address", ["file:///dev/zero", "file:///nowhere/a.jpg", "file:///a%00b.jpg"])
def test_files_of_the_machine_that_judges_are_read_as_by_path(address, tmp_path, server):
    code, table = scored(tmp_path, server, address)
    assert code == 1 and len(rows(table)) == 2


def test_what_is_brought_does_not_stay_and_keeps_its_kind(server, tmp_path, monkeypatch):
    monkeypatch.setattr(addresses.tempfile, "tempdir", str(tmp_path))
    server.routes = {"/x/..%2f..%2fodd%00name.dng": answer(PICTURE)}
    with Fetcher([server.place]).brought(server.url("/x/..%2f..%2fodd%00name.dng?a=/../b.png")) as path:
        assert path.read_bytes() == PICTURE and path.suffix == ".dng"
        assert path.parent.parent == tmp_path and os.listdir(path.parent) == [path.name]
    assert list(tmp_path.iterdir()) == []


def test_a_host_that_fails_ends_the_run_instead_of_spoiling_the_table(server, monkeypatch):
    server.routes = {"/a.jpg": answer(status=503)}
    photos = [server.url(f"/a.jpg?{number}") for number in range(9)]
    fetcher = Fetcher([server.place])
    monkeypatch.setattr(fetcher._web, "_sleep", lambda seconds: None)
    for number in range(web.FAILURES_BEFORE_REST):
        with pytest.raises(DialtellError) as caught, fetcher.brought(photos[number]):
            pass
        assert not isinstance(caught.value, OutputError)
    with pytest.raises(OutputError, match="run again"), fetcher.brought(photos[-1]):
        pass


def refusal(kind, code):
    """An error as s3fs raises it, the store's answer behind it."""
    error, error.__cause__ = kind("no"), Exception("answer")
    error.__cause__.response = {"Error": {"Code": code}}
    return error


def brought(fetcher, address="memory://archive/a.jpg"):
    with fetcher.brought(address) as path:
        return path.read_bytes()


def test_what_a_store_says_of_a_photograph_is_that_ones_and_its_silence_ends_the_run(store, monkeypatch):
    fetcher = Fetcher([])
    for _ in range(5):
        with pytest.raises(PhotoError, match="it does not exist"):
            brought(fetcher, "memory://archive/none.jpg")

    def raises(error):
        def answer(*words, **named):
            raise error

        monkeypatch.setattr(type(store), "cat_file", answer)

    raises(refusal(FileNotFoundError, "NoSuchBucket"))
    with pytest.raises(PhotoError, match="the bucket archive does not exist"):
        brought(fetcher)
    raises(refusal(OSError, "InvalidRange"))
    assert brought(fetcher) == b""
    raises(refusal(OSError, "InternalError"))
    for expected in (PhotoError, PhotoError, OutputError):
        with pytest.raises(expected, match=r"check the address|nor the 2 before"):
            brought(fetcher)
    for error in (ConnectionError("no route"), refusal(PermissionError, "SignatureDoesNotMatch")):
        raises(error)
        with pytest.raises(OutputError, match="keys are right"):  # at once: it would be a row of each photograph
            brought(Fetcher([]))


def test_refusals_are_the_photographs_own_where_others_of_the_bucket_came(store, monkeypatch):
    given = type(store).cat_file

    def private(system, path, **span):
        if path.endswith("private.jpg"):
            raise refusal(PermissionError, "AccessDenied")
        return given(system, path, **span)

    monkeypatch.setattr(type(store), "cat_file", private)
    fetcher = Fetcher([])
    for expected in (PhotoError, PhotoError, OutputError):
        with pytest.raises(expected):
            brought(fetcher, "memory://archive/private.jpg")
    assert brought(fetcher) == PICTURE
    for _ in range(5):
        with pytest.raises(PhotoError, match="rights"):
            brought(fetcher, "memory://archive/private.jpg")


def test_objects_that_are_too_large_are_not_kept(store, monkeypatch):
    monkeypatch.setattr(addresses, "LARGEST", len(PICTURE) - 1)
    with pytest.raises(PhotoError, match="scale it down"):
        brought(Fetcher([]))


def test_without_s3fs_the_command_says_what_to_install(tmp_path, server, capsys, monkeypatch):
    monkeypatch.setitem(sys.modules, "s3fs", None)
    code, _ = scored(tmp_path, server, "s3://bucket/a.jpg")
    assert code == 1 and "pip install 'dialtell[s3]'" in capsys.readouterr().err


def test_a_server_that_drips_meets_an_end(server, monkeypatch):
    monkeypatch.setattr(addresses, "DEADLINE_S", 0.3)

    def drip(handler):
        handler.send_response(200)
        handler.end_headers()
        end = time.monotonic() + 5
        while time.monotonic() < end:
            handler.wfile.write(b"x")
            time.sleep(0.05)

    server.routes = {"/a.jpg": drip}
    fetcher = Fetcher([server.place])
    fetcher._web.retries = 0
    with pytest.raises(DialtellError, match="not whole after"), fetcher.brought(server.url("/a.jpg")):
        pass
