"""`dialtell gather` as a command: streams, exit statuses, the document, and a run that is killed."""

import csv
import os
import signal
import subprocess
import sys
import threading
import time

import pytest
from odd_server import answer, picture

from dialtell.evaluate.cli.gather import MUSEUM_NAMES
from dialtell.evaluate.cli.main import main
from dialtell.evaluate.museum import search as museum_search
from dialtell.evaluate.museum.records import Record, read_records, records_text
from dialtell.evaluate.museum.search import MUSEUMS, Museum
from dialtell.evaluate.museum.web_address import DownloadError


@pytest.fixture
def table(server, tmp_path):
    """table(record...): path of a table and the words that let it be gathered from the test's server."""

    def write(*records):
        path = tmp_path / "records.csv"
        path.write_text(records_text(records), encoding="utf-8")
        host = f"127.0.0.1:{server.port}"
        return [str(path), "--out", str(tmp_path / "got"), "--delay", "0", "--retries", "0", "--allow-host", host]

    return write


def record(*urls, name="1", licence="CC0"):
    return Record("Museum", licence, urls, accession_number=name)


def test_document_and_exit_status(server, table, tmp_path, capsys, strict_json):
    server.routes = {"/a": answer(picture()), "/b": answer(picture(colour=(1, 2, 3)))}
    words = table(
        record(server.url("/a"), server.url("/b"), name="both"),
        record(server.url("/none"), name="gone"),
        record(server.url("/a"), name="theirs", licence="CC BY-NC 4.0"),
        record(name="bare"),
    )
    assert main(["gather", *words, "--json"]) == 1
    told = capsys.readouterr()
    document = strict_json(told.out)
    assert document["schema"] == "dialtell.gather/1" and document["unanswered"] == []
    assert (document["objects"], document["photographs"]) == (4, 4)
    assert [len(document[name]) for name in ("fetched", "kept", "refused", "failed")] == [2, 0, 1, 1]
    assert sorted(document["fetched"]) == sorted(p.name for p in (tmp_path / "got").glob("*.jpg"))
    assert document["failed"][0]["object"] == "gone" and "404" in document["failed"][0]["reason"]
    assert "dialtell: error: Museum, gone: " in told.err
    assert 'warning: Museum, theirs: its licence is "CC BY-NC 4.0", not public domain or CC0' in told.err
    assert "1 of 4 objects have no photograph on record: bare" in told.err

    asked = len(server.asked)
    kept = table(record(server.url("/a"), server.url("/b"), name="both"))
    assert main(["gather", *kept, "--first", "1"]) == 0 and len(server.asked) == asked
    out = capsys.readouterr().out
    assert out.splitlines()[0] == "photographs: 0 fetched, 1 kept, 0 refused, 0 failed; objects: 1"


def test_refusal_alone_is_no_failure(server, table):
    assert main(["gather", *table(record(server.url("/a"), licence="CC BY 4.0"))]) == 0
    assert server.asked == []


def test_loopback_is_refused_without_the_allowance(server, table, capsys):
    server.routes["/a"] = answer(picture())
    words = table(record(server.url("/a")))
    assert main(["gather", *words[:-2]]) == 1
    assert f"no public address and is not asked; for a server of your own add --allow-host 127.0.0.1:{server.port}" in (
        capsys.readouterr().err
    )
    assert server.asked == []


def test_list_prints_a_table_that_is_read_back(tmp_path, capsys):
    assert main(["gather", "--list"]) == 0
    again = tmp_path / "again.csv"
    again.write_text(capsys.readouterr().out, encoding="utf-8")
    assert len(read_records(again)) == 152


def test_search_lists_what_was_found_and_says_who_did_not_answer(monkeypatch, capsys):
    def found(web, base, words, key):
        yield Record("Museum", "CC0", ("http://h/1",), title=words)
        yield Record("Museum", "CC BY 4.0", ("http://h/2",), title=words, attribution="me")

    def silent(web, base, words, key):
        raise DownloadError("no answer")
        yield

    monkeypatch.setitem(museum_search.MUSEUMS, "met", Museum("M", "", found))
    monkeypatch.setitem(museum_search.MUSEUMS, "chicago", Museum("C", "", silent))
    assert main(["gather", "--search", "pocket watch", "--list"]) == 0
    assert capsys.readouterr().out == records_text([Record("Museum", "CC0", ("http://h/1",), title="pocket watch")])
    assert main(["gather", "--search", "w", "--museum", "chicago", "--museum", "met", "--list"]) == 1
    told = capsys.readouterr()
    assert "error: chicago: no answer" in told.err and "http://h/1" in told.out


def test_every_museum_can_be_named():
    assert tuple(MUSEUMS) == MUSEUM_NAMES


@pytest.mark.parametrize(
    ("words", "status", "said"),
    [
        ([], 2, "one of the arguments --out --list is required"),
        (["x.csv", "--search", "y", "--list"], 2, "not allowed with argument"),
        (["--list", "--museum", "attic"], 2, "invalid choice: 'attic'"),
        (["--list", "--delay", "-1"], 2, "'-1' is no number from 0 to 3600"),
        (["--list", "--delay", "nan"], 2, "'nan' is no number from 0 to 3600"),
        (["--list", "--limit", "0"], 2, "'0' is no whole number from 1 to 10000"),
        (["--list", "--allow-host", "127.0.0.1"], 2, "is not HOST:PORT"),
        (["--list", "--contact", "a\r\nX-Evil: 1"], 2, "give a mail address or a page"),
        (["--list", "--json"], 1, "list is given with json"),
        (["--list", "--museum", "met"], 1, "museum is given without search"),
        (["--list", "--search", " "], 1, "search is empty"),
        (["--list", "--allow-licence", ""], 1, "allow-licence is empty"),
        (["none.csv", "--list"], 1, "none.csv cannot be read"),
    ],
)
def test_wrong_usage_is_refused_in_words(words, status, said, capsys):
    assert main(["gather", *words]) == status
    told = capsys.readouterr()
    assert told.out == "" and said in told.err


def run_until_second_photograph(server, words, signalled):
    """Start the command, let the first photograph come, stop it while the second is on its way; its exit status."""
    arrived, leave = threading.Event(), threading.Event()

    def half(handler):
        answer(picture()[:300], Content_Length="90000")(handler)
        handler.wfile.flush()
        arrived.set()
        leave.wait(30)

    whole = server.routes["/b"]
    server.routes["/b"] = half
    program = "import sys; from dialtell.evaluate.cli.main import main; sys.exit(main(sys.argv[1:]))"
    with subprocess.Popen(
        [sys.executable, "-c", program, "gather", *words], stderr=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as process:
        assert arrived.wait(60), process.communicate()
        part = os.path.join(words[2])
        while not any(name.endswith(".part") for name in os.listdir(part)):
            time.sleep(0.01)
        process.send_signal(signalled)
        told = process.communicate(timeout=60)
    leave.set()
    server.routes["/b"] = whole
    return process.returncode, told


@pytest.mark.parametrize("signalled", [signal.SIGKILL, signal.SIGINT])
def test_stopped_run_goes_on(signalled, server, table, tmp_path):
    server.routes = {f"/{name}": answer(picture(colour=(n, 0, 0))) for n, name in enumerate("abc")}
    words = table(record(*map(server.url, ("/a", "/b", "/c"))))
    code, (_, err) = run_until_second_photograph(server, words, signalled)
    if signalled == signal.SIGINT:
        assert code == 130 and "interrupted; 1 of 3 photographs are in" in err
    else:
        assert code == -signal.SIGKILL
    got = tmp_path / "got"
    assert len(list(got.glob("*.jpg"))) == 1
    assert len(list(got.glob("*.part"))) == (signalled == signal.SIGKILL)
    server.asked.clear()
    assert main(["gather", *words]) == 0
    assert server.asked == ["/b", "/c"]  # the first is whole and not asked for again
    with open(got / "manifest.csv", newline="", encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    assert sorted(row["file"] for row in rows) == sorted(p.name for p in got.iterdir() if p.name != "manifest.csv")
    assert len(rows) == 3
