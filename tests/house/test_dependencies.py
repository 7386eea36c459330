"""What pyproject.toml declares is what is imported, no more and no less, and the lock holds it."""

import ast
import re
import sys
import tomllib

import pytest
from checkout import PARTS, ROOT

PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
# import name: distribution, where they differ
NAMES = {
    "cv2": "opencv-python-headless",
    "fontTools": "fonttools",
    "PIL": "pillow",
    "pillow_heif": "pillow-heif",
    "skimage": "scikit-image",
    "sklearn": "scikit-learn",
    "xdist": "pytest-xdist",
}
# not imported by any file: run as commands, or by torch (and its exporter), Starlette and fsspec on our behalf
COMMANDS = {"pytest-xdist", "mypy", "ruff", "tensorboard", "httpx2", "s3fs", "onnxscript"}
# read as files by synth/letterforms/families.py, whose table a test compares with what is declared
FONTS = "fontpkg-"
# of tests/fuzz, which is run by hand and says how to install it
BY_HAND = {"atheris"}


def declared(lines):
    """Name: least version, of requirement lines; those of another extra of ours with it."""
    found = {}
    for line in lines:
        if own := re.match(r"dialtell\[(\w+)\]$", line):
            found |= declared(PROJECT["optional-dependencies"][own[1]])
            continue
        name, least = re.match(r"([A-Za-z0-9_.-]+)(?:\[.*?\])?(?:>=([\d.]+))?", line).groups()
        found[name.lower()] = tuple(map(int, (least or "0").split(".")))
    return found


RUN = declared(PROJECT["dependencies"])
# of what draws, plots and trains, at the top of files; tests/house/test_without_torch.py: scoring needs none of it
TRAIN = declared(PROJECT["optional-dependencies"]["train"])
EXTRA = declared([line for extra in PROJECT["optional-dependencies"].values() for line in extra])


def imported(folders):
    """Distribution: (file, whether an import of it stands at the top of a file)."""
    found = {}
    own = {path.stem for path in (ROOT / "tests").rglob("*.py")} | {"dialtell", "trials"}
    for path in (path for folder in folders for path in (ROOT / folder).rglob("*.py")):
        tree = ast.parse(path.read_text("utf-8"))
        for node in ast.walk(tree):
            if isinstance(node, ast.Import):
                names = [alias.name for alias in node.names]
            elif isinstance(node, ast.ImportFrom):
                names = [node.module]
            else:
                continue
            for name in {name.split(".")[0] for name in names} - own - sys.stdlib_module_names:
                found.setdefault(NAMES.get(name, name), []).append((path.relative_to(ROOT), node in tree.body))
    return found


def test_all_that_the_parts_import_is_declared():
    undeclared = {}
    for name, places in imported(PARTS).items():
        if name not in RUN | TRAIN and (name not in EXTRA or any(top for _, top in places)):
            # an extra may be missing, so it is imported only inside the function that needs it
            undeclared[name] = [str(path) for path, _ in places]
    assert undeclared == {}


def test_all_that_the_tests_import_is_declared():
    assert set(imported(["tests"])) - set(RUN) - set(EXTRA) - BY_HAND == set()


def test_nothing_declared_is_unused():
    assert set(RUN) - set(imported(PARTS)) == set()
    assert {name for name in set(TRAIN) - set(imported(PARTS)) if not name.startswith(FONTS)} == set()
    assert set(EXTRA) - set(TRAIN) - set(imported([*PARTS, "tests"])) - COMMANDS == set()


def test_the_lock_holds_what_is_declared():
    text = (ROOT / "requirements.lock").read_text("utf-8")
    locked = {name: version for name, version in re.findall(r"^([a-z0-9.-]+)==(\S+) \\$", text, re.M)}
    assert text.count("--hash=sha256:") == len(locked) > 50
    needed = RUN | declared(PROJECT["optional-dependencies"]["test"])
    for name, least in needed.items():
        version = tuple(map(int, re.match(r"[\d.]*\d", locked[name])[0].split(".")))
        assert version >= least, f"{name} {locked[name]}; renew the lock with `python3 .ci/lock`"


@pytest.mark.parametrize("name", sorted(RUN | TRAIN))
def test_declared_names_are_installed(name):
    from importlib import metadata

    assert metadata.version(name)
