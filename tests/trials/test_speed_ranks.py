"""Training by two processes beside one, as `speed/ranks` measures it, on a CPU."""

import json
import time

from trials.speed import ranks
from trials.speed.ranks import main

TINY = ["--preset", "tiny", "--device", "cpu", "--steps", "1"]


def test_two_processes_on_a_cpu(capsys):
    assert main(TINY) == 0
    *said, last = capsys.readouterr().out.splitlines()
    found = json.loads(last)
    assert found["gradients apart, float64"] < 1e-5 and found["gradients apart, float32"] < 0.1
    assert found["plain"]["times"] > 0
    assert found["gradients"]["2"] == found["gradients"]["1"]  # their losses
    assert [line.split(":")[0] for line in said] == [
        "gradients 1", "gradients 2", "gradients apart, float64", "gradients apart, float32",
        "plain 1", "plain 2", "plain, times",
    ]  # fmt: skip


def test_what_takes_too_long_is_ended_and_named(capsys):
    began = time.monotonic()
    assert main([*TINY, "--limit", "0.2"]) == 0
    found = json.loads(capsys.readouterr().out.splitlines()[-1])
    assert found["plain"]["1"] == found["gradients"]["2"] == {"failed": "took too long"}
    assert time.monotonic() - began < 10


def test_what_fails_is_named(capsys):
    """Of three processes none can share a batch of four."""
    assert ranks.main([*TINY, "--processes", "3"]) == 0
    found = json.loads(capsys.readouterr().out.splitlines()[-1])
    assert found["plain"]["1"]["steps_per_second"] > 0
    assert "give --batch a multiple" in found["plain"]["3"]["failed"]
