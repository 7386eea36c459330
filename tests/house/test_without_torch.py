"""What scoring does without: torch, what plots and what draws. Calls are those of torch; what needs more says so."""

import json
import os
import re
import subprocess
import sys
import tomllib
from importlib import resources

import pytest
from checkout import ROOT

from dialtell.evaluate.cli.main import EXTRAS, main
from dialtell.evaluate.score.score import score_photo
from dialtell.model.net.in_onnx import InOnnx
from dialtell.model.net.in_torch import InTorch
from dialtell.model.net.weights_file import load_weights
from dialtell.model.reading.known import Known

NAMES = {"fonttools": "fontTools"}
OPTIONAL = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]["optional-dependencies"]
# run by every process of Python that begins with its folder on the path, workers too
REFUSING = """
import sys

class Refusing:
    def find_spec(self, name, path=None, target=None):
        top = name.partition(".")[0]
        if top in {missing!r}:
            raise ModuleNotFoundError(f"No module named {{top!r}}", name=top)

sys.meta_path.insert(0, Refusing())
"""
RUN = "import sys; from dialtell.evaluate.cli.main import main; sys.exit(main(sys.argv[1:]))"


@pytest.fixture(scope="module")
def without(tmp_path_factory):
    """without(words): the command run where nothing of the extras is; its exit status, output and errors."""
    folder = tmp_path_factory.mktemp("without")
    found = [re.match(r"[A-Za-z0-9_-]+", line)[0] for extra in ("pages", "train") for line in OPTIONAL[extra]]
    missing = {NAMES.get(name, name) for name in found if name != "dialtell" and not name.startswith("fontpkg")}
    assert {"torch", "torchvision", "matplotlib", "albumentations"} <= missing == set(EXTRAS)
    (folder / "sitecustomize.py").write_text(REFUSING.format(missing=missing))
    (folder / "run.py").write_text(f"if __name__ == '__main__':\n    {RUN}\n")
    paths = os.pathsep.join(filter(None, (str(folder), os.environ.get("PYTHONPATH"))))

    def run(*words):
        return subprocess.run(
            [sys.executable, str(folder / "run.py"), *map(str, words)], capture_output=True, text=True, cwd=folder,
            env={**os.environ, "PYTHONPATH": paths}, timeout=300,
        )  # fmt: skip

    return run


@pytest.fixture(scope="module")
def examples():
    with resources.as_file(resources.files("dialtell.evaluate.examples")) as folder:
        yield folder


def test_photographs_are_scored_in_every_form(without, examples, tmp_path):
    one = examples / "painted.jpg"
    ran = without("score", examples, one, "--json")
    assert ran.returncode == 0, ran.stderr
    dials = json.loads(ran.stdout)["dials"]
    assert [dial["call"] for dial in dials[:3]] == ["hand-painted", "printed", "printed"]
    mine = score_photo(one, load_weights(lighter=False)).record
    assert dials[0]["log10_lr"] == pytest.approx(mine["log10_lr"], abs=1e-3)
    table = tmp_path / "calls.csv"
    ran = without("score", examples, "--csv", table, "--workers", "2")
    assert ran.returncode == 0, ran.stderr
    assert len(table.read_text("utf-8").splitlines()) == 1 + 4
    for words in (
        ("score", one, examples / "printed-transfer.jpg", "--one-dial", "no. 1"),
        ("score", one, "--twelve", "0", "--size", "18"), ("score", one, "--close-up", "--px-per-mm", "30"),
        ("note", one), ("compare", one, examples / "printed-transfer.jpg"),
        ("collection", "add", tmp_path / "a.collection", one),
    ):  # fmt: skip
        ran = without(*words)
        assert ran.returncode == 0, (words, ran.stderr)


@pytest.mark.parametrize(("words", "missing", "extra"), [
    (["train", "--preset", "tiny", "--out", "run"], "torch", "train"),
    (["score", "a.jpg", "--device", "cuda"], "torch", "train"),
    (["speed"], "torch", "train"),
    (["inspect", "{examples}/painted.jpg", "--out", "a.html"], "matplotlib", "pages"),
    (["draw", "--count", "1", "--out", "drawn"], "fontTools", "pages"),
])  # fmt: skip
def test_what_needs_more_says_what(without, examples, words, missing, extra):
    ran = without(*(word.format(examples=examples) for word in words))
    assert ran.returncode == 1
    said = f"dialtell: error: this needs {missing}, which is not installed; run: pip install 'dialtell[{extra}]'\n"
    assert ran.stderr.endswith(said) and "Traceback" not in ran.stderr


def test_what_is_missing_otherwise_is_a_fault_of_ours(monkeypatch):
    """Not told as if an extra would mend it."""

    def failing(_):
        raise ModuleNotFoundError("No module named 'nothing'", name="nothing")

    monkeypatch.setattr("dialtell.evaluate.cli.score.run", failing)
    with pytest.raises(ModuleNotFoundError):
        main(["score", "a.jpg"])


@pytest.mark.parametrize("known", [Known(), Known(twelve_deg=10.0), Known(close_up=True, pixels_per_mm=30.0)])
def test_both_runtimes_state_the_same(examples, drawn_photo, known):
    light, heavy = load_weights(), load_weights(lighter=False)
    assert isinstance(light.asks, InOnnx) and isinstance(heavy.asks, InTorch)
    for photo in (examples / "painted.jpg", examples / "too-small.jpg", drawn_photo):
        one, other = (score_photo(photo, weights, known=known) for weights in (light, heavy))
        assert_near(one.record, other.record)
        if one.verdict is not None and one.verdict.explanation is not None:
            assert_near(one.verdict.explanation.record(), other.verdict.explanation.record())


def assert_near(one, other):
    """Two documents alike, numbers to 1e-3."""
    if isinstance(one, dict):
        assert one.keys() == other.keys()
        for key in one:
            assert_near(one[key], other[key])
    elif isinstance(one, list):
        assert len(one) == len(other)
        for mine, theirs in zip(one, other, strict=True):
            assert_near(mine, theirs)
    elif isinstance(one, float):
        assert one == pytest.approx(other, abs=1e-3)
    else:
        assert one == other
