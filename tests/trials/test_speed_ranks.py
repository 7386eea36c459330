"""Training by two processes beside one, as `speed/ranks` measures it, on a CPU."""

import json

from trials.speed.ranks import main


def test_two_processes_on_a_cpu(capsys):
    assert main(["--preset", "tiny", "--device", "cpu", "--steps", "1"]) == 0
    found = json.loads(capsys.readouterr().out.split("\n", 1)[1])
    assert found["gradients apart"] < 1e-5 and found["plain"]["times"] > 0
    assert found["plain"]["2"]["loss"] == found["plain"]["1"]["loss"]
