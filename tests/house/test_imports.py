"""Data flows one way: synth, model, train, evaluate. A part imports only what stands to its left."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest
from checkout import ROOT

ORDER = ("synth", "model", "train", "evaluate")
# what model may know of synth: words, sizes and errors, never the renderer
SHARED = {"dialtell.synth.shared.terms", "dialtell.synth.shared.errors", "dialtell.synth.shared.sizes"}


def imported(path: Path) -> list[str]:
    """Every dialtell module a file imports, also inside functions."""
    found = []
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            found += [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            found += [node.module or ""] + [f"{node.module}.{alias.name}" for alias in node.names]
    return [name for name in found if name.startswith("dialtell.")]


@pytest.mark.parametrize("part", ORDER)
def test_imports_point_left(part: str) -> None:
    allowed = ORDER[: ORDER.index(part) + 1]
    for path in (ROOT / part).rglob("*.py"):
        for name in imported(path):
            assert name.split(".")[1] in allowed, f"{path} imports {name}"


def test_model_does_not_know_the_renderer() -> None:
    for path in (ROOT / "model").rglob("*.py"):
        for name in imported(path):
            if name.startswith("dialtell.synth."):
                module = ".".join(name.split(".")[:3])
                assert module in SHARED, f"{path} imports {name}"


def test_no_file_is_long_and_each_has_a_docstring() -> None:
    for part in ORDER:
        for path in (ROOT / part).rglob("*.py"):
            text = path.read_text("utf-8")
            assert text.count("\n") <= 600, f"{path} has {text.count(chr(10))} lines"
            assert ast.get_docstring(ast.parse(text)), f"{path} has no module docstring"
