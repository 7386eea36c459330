"""Scoring by a Dask cluster: the rows of the local engine whatever dies, and wrong usage said in words."""

import importlib.util
import sys
import time
from collections import deque
from pathlib import Path
from types import SimpleNamespace

import pytest

from dialtell.evaluate.cli.main import main
from dialtell.evaluate.score import cluster, crew
from dialtell.evaluate.score.stream import StreamSettings

dask = pytest.mark.skipif(importlib.util.find_spec("distributed") is None, reason="the extra cluster is not installed")


def score(tmp_path, *words):
    (tmp_path / "a.jpg").write_bytes(b"no picture")
    return main(["score", str(tmp_path / "a.jpg"), "--quiet", *words])


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--csv", "calls.csv", "--engine", "cluster"), "--scheduler"),
        (("--csv", "calls.csv", "--scheduler", "tcp://127.0.0.1:1"), "--engine cluster"),
        (("--engine", "cluster", "--scheduler", "tcp://127.0.0.1:1"), "give --csv"),
    ],
)
def test_flags_that_lack_another_are_refused(tmp_path, monkeypatch, capsys, words, said):
    monkeypatch.chdir(tmp_path)
    assert score(tmp_path, *words) == 1
    assert said in capsys.readouterr().err
    assert not (tmp_path / "calls.csv").exists()


def test_without_the_extra_the_command_says_what_to_install(tmp_path, monkeypatch, capsys):
    monkeypatch.setitem(sys.modules, "distributed", None)  # as if it were not there
    table = tmp_path / "calls.csv"
    assert score(tmp_path, "--csv", str(table), "--engine", "cluster", "--scheduler", "tcp://127.0.0.1:1") == 1
    assert "dialtell[cluster]" in capsys.readouterr().err


def test_what_judges_loads_no_net_into_the_worker_of_dask():
    """Else a worker answers its scheduler late and holds the net's memory twice."""
    import subprocess

    code = "import sys, dialtell.evaluate.score.crew; sys.exit('torch' in sys.modules)"
    subprocess.run([sys.executable, "-c", code], check=True)


def test_a_process_without_photographs_is_ended_and_its_files_go(tmp_path, monkeypatch):
    """Else a command that was killed leaves its nets in the workers' memory."""
    ended = []
    pool = SimpleNamespace(
        submit=lambda judge, path: SimpleNamespace(result=lambda: {"photo": str(path)}),
        shutdown=lambda **_: ended.append(True),
    )
    monkeypatch.setattr(crew, "IDLE_S", 0.2)
    at_work = crew.Crew("run", {"net": b"net"}, StreamSettings(), tmp_path)
    monkeypatch.setattr(at_work, "_begun", lambda: pool)
    at_work.setup(SimpleNamespace(local_directory=tmp_path, address="tcp://a"))
    assert (tmp_path / "run" / "net").read_bytes() == b"net" and at_work.files == {}
    assert at_work.judge(Path("nowhere.jpg")) == {"photo": "nowhere.jpg", "unseen": "tcp://a"}
    assert at_work.judge("https://a/b.jpg") == {"photo": "https://a/b.jpg"}  # whether it is there the host knows
    ends = time.monotonic() + 10
    while not ended and time.monotonic() < ends:
        time.sleep(0.02)
    assert ended == [True] and at_work.pools == {}
    at_work.teardown(None)
    assert list(tmp_path.iterdir()) == []


@dask
def test_photographs_given_up_together_are_tried_one_by_one():
    """Only the one that is given up alone, again and again, is set aside."""
    from distributed import KilledWorker

    def given_up(timeout):
        raise KilledWorker("judge", None, 3)

    run = object.__new__(cluster._Run)
    run._losses = 0
    killed = SimpleNamespace(result=given_up)
    waiting = deque([cluster._Job(0, [Path("a"), Path("b")], killed), cluster._Job(1, [Path("c")], killed)])
    assert run.entries_of(waiting) == []
    assert [job.paths for job in waiting] == [[Path("a")], [Path("b")], [Path("c")]]
    for _ in range(cluster.ROUNDS - 1):
        waiting[0].future = killed
        assert run.entries_of(waiting) == []
    waiting[0].future = killed
    ((path, entry),) = run.entries_of(waiting)
    assert path == Path("a") and "set aside" in entry["error"]
    waiting[0].future = SimpleNamespace(result=lambda timeout: [{"photo": "b"}])
    assert run.entries_of(waiting) == [(Path("b"), {"photo": "b"})]
    assert [job.paths for job in waiting] == [[Path("c")]]


@dask
@pytest.mark.slow
def test_two_workers_write_the_local_table_whatever_is_killed(tmp_path):
    """A judging process, a worker, the command and the scheduler each killed once, and a photograph that kills."""
    from trials.kills.cluster import ENDS, disturb

    outcome = disturb(tmp_path, photographs=24, kills=len(ENDS), limit_s=600)
    assert outcome.faults == []
    assert outcome.kills == dict.fromkeys(ENDS, 1)


@dask
@pytest.mark.slow
def test_calls_are_equal_between_engines_by_path_and_by_address(tmp_path):
    """To the last byte: one process here, two processes here, two workers of a cluster."""
    import subprocess

    from odd_server import OddServer, answer
    from trials.kills.cluster import Cluster, command, photographs_in

    photographs_in(folder := tmp_path / "photographs", 5, poison=False)
    (folder / "3.jpg").write_bytes(b"no picture")
    tables = []
    server = OddServer()
    server.routes = {f"/{path.name}": answer(path.read_bytes()) for path in folder.iterdir()}
    addresses = [*map(server.url, server.routes), server.url("/nothing.jpg")]
    (tmp_path / "list.txt").write_text("\n".join(addresses))
    with Cluster(tmp_path) as cluster:
        for number, words in enumerate(
            (("--workers", "1"), ("--workers", "2"), ("--engine", "cluster", "--scheduler", cluster.address))
        ):
            tables.append(tmp_path / f"{number}.csv")
            named = ("--list", str(tmp_path / "list.txt"), "--allow-host", f"127.0.0.1:{server.port}")
            run = subprocess.run([*command(folder, tables[-1], *words), *named], capture_output=True, timeout=300)
            assert run.returncode == 1  # one is no picture, one is not there
    server.close()
    assert len(tables[0].read_bytes().splitlines()) == 1 + 6 + 7
    assert tables[0].read_bytes() == tables[1].read_bytes() == tables[2].read_bytes()


@dask
@pytest.mark.slow
def test_workers_that_do_not_see_the_photographs_stop_the_command(tmp_path):
    """Not a row of an error for each photograph of an archive whose folder is not mounted there."""
    import subprocess

    from trials.kills.cluster import UNMOUNTED, Cluster, command, photographs_in

    folder, table = tmp_path / UNMOUNTED, tmp_path / "calls.csv"
    photographs_in(folder, 3)
    with Cluster(tmp_path) as cluster:
        words = command(folder, table, "--engine", "cluster", "--scheduler", cluster.address)
        run = subprocess.run(words, capture_output=True, text=True, timeout=300)
    assert run.returncode == 1 and "does not see" in run.stderr
    assert len(table.read_text().splitlines()) == 1
