"""The front door: which names it has, that they are documented and loaded late, and that the commands use it."""

from __future__ import annotations

import ast
import importlib
import inspect
import subprocess
import sys

import pytest
from checkout import ROOT

PUBLIC = {
    "dialtell.evaluate": ["Known", "compare_photos", "inspect_photo", "score_photo", "score_photos"],
    "dialtell.model": ["load_weights", "read_photo"],
    "dialtell.synth": ["render", "sample_spec"],
}
# who makes an opinion of a photograph, and the verbs' only way to one
OPINIONS = {"score_photo", "score_photos", "inspect_photo", "compare_photos"}


@pytest.mark.parametrize("package", PUBLIC)
def test_the_public_list(package: str) -> None:
    module = importlib.import_module(package)
    assert sorted(module.__all__) == dir(module) == PUBLIC[package]
    for name in PUBLIC[package]:
        thing = getattr(module, name)
        assert inspect.getdoc(thing), name
        if inspect.isfunction(thing):
            hints = thing.__annotations__
            assert "return" in hints and set(inspect.signature(thing).parameters) <= set(hints), name
    with pytest.raises(AttributeError, match="no attribute 'nothing'"):
        module.nothing  # noqa: B018


def test_nothing_heavy_is_loaded_before_it_is_asked_for() -> None:
    code = (
        "import sys, dialtell.evaluate, dialtell.model, dialtell.synth\n"
        "from dialtell.evaluate import Known\n"
        "from dialtell.evaluate.cli.main import build_parser, VERBS\n"
        "build_parser(tuple(VERBS))\n"
        "print(sorted({'torch', 'numpy', 'cv2', 'PIL', 'scipy', 'matplotlib', 'tqdm'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout == "[]\n"


def test_commands_come_to_an_opinion_by_the_front_door_alone() -> None:
    for path in (ROOT / "evaluate" / "cli").glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.ImportFrom):
                for name in OPINIONS & {alias.name for alias in node.names}:
                    assert node.module == "dialtell.evaluate", f"{path.name}: {name} from {node.module}"
                assert node.module not in ("dialtell.model.net.verdict", "dialtell.model.reading.steps"), path.name


def test_one_producer_of_opinions() -> None:
    """A verdict is reached, and a record written, in the rooms of scores and of one dial's photographs alone."""
    for path in (ROOT / "evaluate").rglob("*.py"):
        room = path.parent.name
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.ImportFrom) and node.module == "dialtell.model.net.verdict":
                names = {alias.name for alias in node.names}
                assert "judge" not in names or room in ("score", "ladder", "one_dial"), f"{path} judges by itself"
            if isinstance(node, ast.ImportFrom) and node.module == "dialtell.evaluate.score.record":
                assert room in ("score", "one_dial"), f"{path} writes records by itself"
