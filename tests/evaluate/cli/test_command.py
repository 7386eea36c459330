import os
import subprocess
import sys

import pytest

from dialtell.evaluate.cli import main as command
from dialtell.evaluate.cli import score as score_command
from dialtell.evaluate.cli.main import VERBS, main
from dialtell.synth.shared.errors import OutputError

HEAVY = ("torch", "cv2", "albumentations", "scipy", "PIL", "jinja2")


def test_building_every_parser_imports_nothing_heavy():
    program = (
        "import sys; from dialtell.evaluate.cli.main import VERBS, build_parser, main\n"
        "parser = build_parser()\n"
        "for verb in VERBS: assert main([verb, '--help']) == 0\n"
        "assert main(['--help']) == main(['--version']) == 0\n"
        f"print('heavy:', [name for name in {HEAVY!r} if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, timeout=60)
    assert done.returncode == 0, done.stderr
    assert done.stdout.splitlines()[-1] == "heavy: []"
    assert done.stderr == ""


@pytest.mark.parametrize("verb", VERBS)
def test_help_explains_each_verb(verb, capsys):
    assert main([verb, "--help"]) == 0
    said = capsys.readouterr().out
    assert f"usage: dialtell {verb}" in said and "examples:" in said and f"dialtell {verb} " in said
    assert "--json" in said and "default" in said


def test_version_is_the_installed_one(capsys):
    from importlib import metadata

    assert main(["--version"]) == 0
    assert capsys.readouterr().out == f"dialtell {metadata.version('dialtell')}\n"


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["guess"], "invalid choice: 'guess'"),
        (["--colour"], "unrecognized arguments: --colour"),
        (["collection", "guess"], "invalid choice: 'guess'"),
        (["score"], "the following arguments are required: PHOTO"),
        (["score", "x.jpg", "--colour"], "unrecognized arguments: --colour"),
        (["score", "x.jpg", "--siz", "18"], "unrecognized arguments: --siz"),
        (["score", "x.jpg", "--size", "-3"], "sources disagree about sizes below 0"),
        (["score", "x.jpg", "--size", "big"], "'big' is no number"),
        (["score", "x.jpg", "--diameter-mm", "nan"], "diameter_mm is nan mm; give a value from 10.0 to 600.0 mm"),
        (["score", "x.jpg", "--lignes", "1"], "the diameter of 1 lignes is 2.2558291 mm"),
        (["score", "x.jpg", "--size", "18", "--lignes", "19"], "not allowed with argument"),
        (["score", "x.jpg", "--max-pixels", "0"], "'0' is no whole number from 1 upwards"),
        (["score", "x.jpg", "-v", "-q"], "not allowed with argument"),
        (["inspect", "x.jpg"], "the following arguments are required: --out"),
    ],
)
def test_wrong_usage_exits_2(words, said, capsys):
    assert main(words) == 2
    told = capsys.readouterr()
    assert told.out == "" and said in told.err


@pytest.mark.parametrize("words", [[], ["collection"]])
def test_a_command_without_a_verb_prints_its_help(words, capsys):
    assert main([*words, "--help"]) == 0
    help_text = capsys.readouterr().out
    assert main(words) == 0
    assert capsys.readouterr() == (help_text, "")


@pytest.mark.parametrize(
    ("words", "millimetres"),
    # American size and Paris ligne: NAWCC encyclopedia, "Watch Size"; 2.2558291 mm a ligne
    [(["--size", "18"], 44.873), (["--lignes", "19"], 42.861), (["--diameter-mm", "44.5"], 44.5), ([], None)],
)
def test_each_way_to_give_the_size(words, millimetres, monkeypatch):
    given = []
    monkeypatch.setattr(score_command, "run", lambda args: given.append(args) or 0)
    assert main(["-v", "score", "a.jpg", "b.jpg", *words]) == 0
    (args,) = given
    assert args.diameter_mm == (None if millimetres is None else pytest.approx(millimetres, abs=6e-4))
    assert (args.photos, args.verbose, args.quiet, args.json) == (["a.jpg", "b.jpg"], 1, False, False)


def test_interrupted_says_one_line(monkeypatch, capsys):
    def run(args):
        raise KeyboardInterrupt

    monkeypatch.setattr(score_command, "run", run)
    assert main(["score", "x.jpg"]) == 130
    assert capsys.readouterr() == ("", "dialtell: interrupted\n")


def test_errors_for_the_user_are_one_line(monkeypatch, capsys):
    def run(args):
        raise OutputError("x exists; give another path")

    monkeypatch.setattr(score_command, "run", run)
    assert main(["score", "x.jpg"]) == 1
    assert capsys.readouterr() == ("", "dialtell: error: x exists; give another path\n")
    assert main(["score", "x.jpg", "--verbose"]) == 1
    assert "Traceback" in capsys.readouterr().err


def test_log_is_set_up_once(monkeypatch, capsys):
    import logging

    monkeypatch.setattr(score_command, "run", lambda args: logging.getLogger("dialtell.x").warning("note") or 0)
    for _ in range(2):
        assert main(["score", "x.jpg"]) == 0
        assert capsys.readouterr().err == "dialtell: warning: note\n"
    assert main(["score", "x.jpg", "--quiet"]) == 0
    assert capsys.readouterr().err == ""


def test_installed_command_runs():
    script = os.path.join(os.path.dirname(sys.executable), "dialtell")
    if not os.path.exists(script):
        pytest.skip("the console script is not beside this Python")
    done = subprocess.run([script, "nothing"], capture_output=True, text=True, timeout=60)
    assert done.returncode == command.USAGE and done.stdout == ""


def test_names_tell_the_terminal_nothing(tmp_path, capsys):
    name = tmp_path / "a\x1b[31mred\x07.jpg"
    assert main(["score", str(name)]) == 1
    assert "\x1b" not in capsys.readouterr().err
    assert main(["inspect", str(name), "--out", str(tmp_path / "page.html")]) == 1
    assert "\x1b" not in capsys.readouterr().err


@pytest.mark.parametrize(("said", "kept"), [(None, "1"), ("3", "3")])
def test_small_matrices_take_one_thread_unless_the_user_says_otherwise(said, kept, monkeypatch, capsys):
    for name in ("OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
        monkeypatch.setenv(name, said or "")
        if said is None:
            monkeypatch.delenv(name)
    assert main(["--version"]) == 0
    assert [os.environ[name] for name in ("OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")] == [kept, kept]
