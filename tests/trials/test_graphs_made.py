"""The graphs made anew are of the shipped nets, take the same numbers, and hold none."""

import json

import pytest
from trials.makers.graphs import main

from dialtell.model.weights import graphs


@pytest.mark.slow
def test_they_are_made_anew(tmp_path):
    pytest.importorskip("onnxscript", reason="the extra graphs is not installed")
    assert main(["--out", str(tmp_path)]) == 0
    made, kept = (json.loads(path.read_text("utf-8")) for path in (tmp_path / graphs.PLACE.name, graphs.PLACE))
    for net, about in kept.items():
        for name, graph in about.pop("graphs").items():
            assert made[net]["graphs"][name]["takes"] == graph["takes"]
            assert (tmp_path / f"{name}.onnx").stat().st_size < 200_000
        assert {key: value for key, value in made[net].items() if key != "graphs"} == about
