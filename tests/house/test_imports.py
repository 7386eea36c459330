"""Data flows one way: synth, model, train, evaluate, and within them from room to room as the table says.

A room may import what its row names and no more, so arrows point downward only: each row stands below all it names.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest
from checkout import PARTS, ROOT

MOST_FILES = 20
# room: rooms it may import from, each of which has a row further up. "synth" alone is the part's own files.
MAY_IMPORT: dict[str, set[str]] = {
    "synth.shared": set(),
    "synth.strokes": {"synth.shared"},
    "synth.letterforms": {"synth.shared", "synth.strokes"},
    "synth.design": {"synth.shared", "synth.strokes", "synth.letterforms"},
    "synth.photograph": {"synth.shared", "synth.strokes"},
    "synth.camera": {"synth.shared", "synth.photograph"},
    "synth": {"synth.shared", "synth.strokes", "synth.design", "synth.photograph", "synth.camera"},
    "synth.sets": {"synth.shared", "synth.strokes", "synth.photograph", "synth"},
    "synth.faces": {"synth.shared", "synth.design", "synth.photograph", "synth"},
    "synth.settings": {"synth.shared", "synth.photograph", "synth.camera", "synth", "synth.faces"},
    "model.weights": {"synth.shared"},
    "model.formats": set(),
    "model.reader": {"synth.shared", "model.weights"},
    "model.reading": {"synth.shared", "model.formats", "model.reader"},
    "model.net": {"synth.shared", "model.weights", "model.reader", "model.reading"},
    "model": {"synth.shared", "model.reading", "model.net"},
    "train.stats": {"synth.shared", "model.net"},
    "train.bags": {
        "synth.shared", "synth.camera", "synth.design", "synth.photograph", "synth", "model.reader", "model.reading",
        "model.net",
    },
    "train.run": {
        "synth.shared", "synth.design", "synth", "model.reading", "model.net", "model.weights", "train.stats",
        "train.bags",
    },
    "train.reader": {
        "synth.shared", "synth", "synth.faces", "synth.settings", "model.reader", "model.reading", "model.net",
        "train.stats", "train.run",
    },
    "train.photographs": {
        "synth.shared", "synth", "model.reader", "model.reading", "model.net", "train.stats", "train.bags", "train.run",
    },
    "train.study": {"synth.shared", "synth", "model.reader", "model.reading", "model.net", "train.bags", "train.run"},
    "train": set(),
    "evaluate.examples": set(),
    "evaluate.words": {"synth.shared"},
    "evaluate.pages": set(),
    "evaluate.plots": {"synth.shared", "model.net", "train.stats"},
    "evaluate.maps": {"synth.shared", "synth", "model.reading", "model.net"},
    "evaluate.measurements": {"synth.shared", "model.reading", "evaluate.words"},
    "evaluate.period": {"synth.shared", "model.reading", "model.net"},
    "evaluate.museum": {"synth.shared"},
    "evaluate.next_fields": {
        "synth.shared", "model.reading", "model.net", "evaluate.words", "evaluate.pages",
    },
    "evaluate.score": {
        "synth.shared", "model.reader", "model.reading", "model.net", "train.photographs", "evaluate.words",
        "evaluate.museum", "evaluate.next_fields",
    },
    "evaluate.lineups": {"synth.shared", "model.reading", "model.net", "evaluate.measurements"},
    "evaluate.paper": {"synth.shared", "model.net", "evaluate.words", "evaluate.pages", "evaluate.maps"},
    "evaluate.inspection": {
        "synth.shared", "synth.design", "synth", "model.reader", "model.reading", "model.net", "evaluate.words",
        "evaluate.pages", "evaluate.maps", "evaluate.measurements", "evaluate.lineups", "evaluate.period",
        "evaluate.score", "evaluate.paper", "evaluate.next_fields",
    },
    "evaluate.compare": {
        "synth.shared", "model.reading", "model.net", "evaluate.words", "evaluate.pages", "evaluate.score",
    },
    "evaluate.one_dial": {
        "synth.shared", "model.reader", "model.reading", "model.net", "train.stats", "evaluate.words",
        "evaluate.score", "evaluate.compare",
    },
    "evaluate.collection": {
        "synth.shared", "model.reader", "model.reading", "model.net", "train.stats", "evaluate.words", "evaluate.pages",
        "evaluate.score", "evaluate.inspection", "evaluate.compare", "evaluate.one_dial",
    },
    "evaluate.serving": {"synth.shared", "evaluate.pages"},
    "evaluate.label": {
        "synth.shared", "model.reader", "model.reading", "model.net", "train.stats", "train.photographs",
        "evaluate.words", "evaluate.museum", "evaluate.score", "evaluate.serving",
    },
    "evaluate.examine": {
        "synth.shared", "model.reading", "model.net", "evaluate.words", "evaluate.pages", "evaluate.score",
        "evaluate.inspection", "evaluate.compare", "evaluate.one_dial", "evaluate.collection", "evaluate.label",
        "evaluate.period", "evaluate.serving", "train.stats",
    },
    "evaluate.benchmark": {
        "synth.shared", "model.reading", "model.net", "train.stats", "train.photographs", "evaluate.words",
        "evaluate.pages", "evaluate.plots", "evaluate.score", "evaluate.inspection",
    },
    "evaluate.ladder": {
        "synth.shared", "synth.design", "synth", "model.reading", "model.net", "train.stats", "train.bags",
        "train.run", "train.study", "evaluate.words", "evaluate.plots",
    },
    "evaluate.speed": {
        "synth.shared", "synth.photograph", "synth", "synth.strokes", "model.reading", "model.net", "train.bags",
        "train.run", "evaluate.score", "evaluate.inspection", "evaluate.compare",
    },
    "evaluate": {"synth.shared", "model.reading", "evaluate.score", "evaluate.inspection", "evaluate.compare"},
    "evaluate.cli": {
        "synth.shared", "synth", "synth.sets", "model", "model.reading", "model.net", "train.bags", "train.run",
        "train.photographs", "train.reader", "evaluate", "evaluate.words", "evaluate.score", "evaluate.inspection",
        "evaluate.period",
        "evaluate.compare", "evaluate.one_dial", "evaluate.collection", "evaluate.label", "evaluate.museum",
        "evaluate.examine", "evaluate.benchmark", "evaluate.ladder", "evaluate.serving", "evaluate.speed",
    },
}  # fmt: skip
# what any part may know of a part to its left that it may not import from otherwise
MODULES = {
    ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__"): path
    for part in PARTS
    for path in (ROOT / part).rglob("*.py")
}


def room_of(module: str) -> str:
    """The folder a module lies in, as a dotted name."""
    return module if MODULES[module].name == "__init__.py" else module.rpartition(".")[0]


def imported(path: Path) -> Iterator[str]:
    """Every module of ours that a file imports, also inside functions, without "dialtell."."""
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            names = [f"{node.module}.{alias.name}" for alias in node.names]
        else:
            continue
        for name in names:
            if name.startswith("dialtell."):
                name = name.removeprefix("dialtell.")
                yield name if name in MODULES else name.rpartition(".")[0]


def test_the_table_points_downward_only() -> None:
    above: set[str] = set()
    for room, below in MAY_IMPORT.items():
        assert below <= above, f"{room} may import {sorted(below - above)}, which stand below it"
        above.add(room)
    assert above == {room_of(module) for module in MODULES}


@pytest.mark.parametrize("room", MAY_IMPORT)
def test_a_room_imports_what_its_row_names(room: str) -> None:
    used = set()
    for module, path in MODULES.items():
        if room_of(module) == room:
            for name in imported(path):
                assert name in MODULES, f"{path} imports {name}, which is nowhere"
                if room_of(name) != room:
                    assert room_of(name) in MAY_IMPORT[room], f"{path} imports {name}"
                    used.add(room_of(name))
    assert used == MAY_IMPORT[room], f"{room} no longer imports {sorted(MAY_IMPORT[room] - used)}; strike it out"


def test_no_room_is_crowded() -> None:
    for folder in {path.parent for part in (*PARTS, "tests") for path in (ROOT / part).rglob("*.py")}:
        count = len([path for path in folder.glob("*.py") if path.name != "__init__.py"])
        crowd = "tests" in folder.relative_to(ROOT).parts and "trials" not in folder.relative_to(ROOT).parts
        assert crowd or count <= MOST_FILES, f"{folder} has {count} files"


def test_every_room_says_what_it_is_and_where_to_begin() -> None:
    for room in MAY_IMPORT:
        path = ROOT / room.replace(".", "/") / "__init__.py"
        text = ast.get_docstring(ast.parse(path.read_text("utf-8"))) or ""
        assert text, f"{path} has no docstring"
        for name in _named(text):
            module, _, thing = name.partition(".")
            file = path.parent / f"{module}.py"
            assert file.is_file(), f"{path} names {name}"
            assert not thing or f"{thing}" in file.read_text("utf-8"), f"{path} names {name}"


def _named(text: str) -> list[str]:
    """What a docstring names after "Begin with", in backquotes."""
    return text.partition("Begin with")[2].split("`")[1::2]


def test_no_file_is_long_and_each_has_a_docstring() -> None:
    for module, path in MODULES.items():
        text = path.read_text("utf-8")
        assert text.count("\n") <= 600, f"{path} has {text.count(chr(10))} lines"
        assert ast.get_docstring(ast.parse(text)), f"{module} has no module docstring"
