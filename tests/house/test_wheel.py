"""The wheel: every folder of code, nothing of the tests, and no module that needs more than what is declared."""

from __future__ import annotations

import ast
import json
import re
import shutil
import subprocess
import sys
import tomllib
import zipfile
from importlib import metadata
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import pytest
from checkout import PARTS, ROOT
from packaging.requirements import Requirement

PROJECT: dict[str, Any] = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))
# modules of an extra, imported inside a function by whoever asked for it
LAZY = {"tensorboard", "distributed", "fsspec"}
# standing first on sys.path, the wheel alone gives dialtell; all else must be declared
IMPORTING = """
import importlib, json, sys
wheel, modules, allowed = json.loads(sys.stdin.read())
sys.path.insert(0, wheel)

class Refusing:
    def find_spec(self, name, path=None, target=None):
        top = name.partition(".")[0]
        standard = top in sys.stdlib_module_names or top.startswith("_sysconfigdata")
        if not standard and top != "dialtell" and top not in allowed:
            raise ModuleNotFoundError(f"{top} is not declared", name=name)

sys.meta_path[:] = [Refusing()] + [finder for finder in sys.meta_path if "editable" not in repr(finder).lower()]
failed = {}
for module in modules:
    try:
        found = importlib.import_module(module)
        if not found.__file__.startswith(wheel):
            failed[module] = f"came from {found.__file__}"
    except BaseException as error:
        failed[module] = f"{type(error).__name__}: {error}"
print(json.dumps(failed))
"""


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The wheel, unpacked; built from a copy of what a checkout holds."""
    place = tmp_path_factory.mktemp("wheel")
    left_out = shutil.ignore_patterns(".*", "build", "*.egg-info", "__pycache__")
    shutil.copytree(ROOT, place / "copy", ignore=left_out, symlinks=True)
    here = find_spec("setuptools") is not None and int(metadata.version("setuptools").partition(".")[0]) >= 77
    command = [sys.executable, "-m", "pip", "wheel", "--quiet", "--no-deps", "--wheel-dir", str(place), "."]
    if here:  # else pip fetches one
        command.insert(4, "--no-build-isolation")
    built = subprocess.run(command, cwd=place / "copy", capture_output=True, text=True, timeout=300)
    assert built.returncode == 0, built.stderr
    (file,) = place.glob("*.whl")
    with zipfile.ZipFile(file) as archive:
        archive.extractall(place / "unpacked")
    return place / "unpacked"


def test_every_folder_of_code_is_in_it_and_nothing_of_the_tests(wheel: Path) -> None:
    ours = {path.relative_to(wheel / "dialtell").as_posix() for path in (wheel / "dialtell").rglob("*.py")}
    assert ours == {path.relative_to(ROOT).as_posix() for part in PARTS for path in (ROOT / part).rglob("*.py")}
    assert {path.name for path in wheel.iterdir() if not path.name.endswith(".dist-info")} == {"dialtell"}
    assert {path.name for path in (wheel / "dialtell").iterdir()} == set(PARTS)
    assert not [path for path in wheel.rglob("*") if re.search(r"trials|conftest|^test_|^tests$", path.name)]


def test_files_that_are_no_code_are_in_it(wheel: Path) -> None:
    listed = subprocess.run(["git", "ls-files", *PARTS], cwd=ROOT, capture_output=True, text=True)
    if listed.returncode:
        pytest.skip("no checkout of git")
    missing = [name for name in listed.stdout.splitlines() if not (wheel / "dialtell" / name).is_file()]
    assert not missing


def test_the_folders_are_those_pyproject_names() -> None:
    settings = PROJECT["tool"]["setuptools"]
    rooms = {path.parent.relative_to(ROOT).as_posix() for part in PARTS for path in (ROOT / part).rglob("__init__.py")}
    assert set(settings["package-dir"].values()) == rooms
    assert settings["packages"] == list(settings["package-dir"])


def test_every_module_imports_with_the_declared_dependencies_alone(wheel: Path) -> None:
    files = sorted((wheel / "dialtell").rglob("*.py"))
    modules = [".".join(path.relative_to(wheel).with_suffix("").parts).removesuffix(".__init__") for path in files]
    given = json.dumps([str(wheel), modules, sorted(allowed("train"))])
    ran = subprocess.run([sys.executable, "-P", "-c", IMPORTING], input=given, capture_output=True, text=True,
                         cwd=wheel, timeout=300)  # fmt: skip
    assert ran.returncode == 0, ran.stderr
    assert json.loads(ran.stdout.splitlines()[-1]) == {}


def test_no_module_asks_for_a_dependency_of_the_tests_even_late() -> None:
    free = allowed("train") | LAZY | set(sys.stdlib_module_names) | {"dialtell"}
    found = []
    for path in (path for part in PARTS for path in (ROOT / part).rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            names = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
            names += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            found += [f"{path.relative_to(ROOT)}: {name}" for name in names if name.partition(".")[0] not in free]
    assert not found


def allowed(extra: str) -> set[str]:
    """Top-level modules of the declared dependencies, of an extra, and of what these depend on."""
    extras_of_ours = PROJECT["project"]["optional-dependencies"]
    declared = [*PROJECT["project"]["dependencies"], *extras_of_ours[extra]]
    waiting, seen = [Requirement(text) for text in declared], set()
    while waiting:
        need = waiting.pop()
        if need.name == "dialtell":
            waiting += [Requirement(text) for own in need.extras for text in extras_of_ours[own]]
            continue
        name = re.sub(r"[-_.]+", "-", need.name).lower()
        extras = ("", *sorted(need.extras))
        if (name, extras) in seen:
            continue
        seen.add((name, extras))
        try:
            further = [Requirement(text) for text in metadata.requires(name) or ()]
        except metadata.PackageNotFoundError:
            continue  # not needed here, or it would be installed
        for one in further:
            if one.marker is None or any(one.marker.evaluate({"extra": extra}) for extra in extras):
                waiting.append(one)
    names = {name for name, _ in seen}
    return {
        module
        for module, givers in metadata.packages_distributions().items()
        if names & {re.sub(r"[-_.]+", "-", giver).lower() for giver in givers}
    }
