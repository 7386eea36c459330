import argparse
import os
import subprocess
import sys

from checkout import ROOT

from dialtell.evaluate.cli.main import VERBS, build_parser
from dialtell.evaluate.cli.reference import modules, reference

FILE = ROOT / "evaluate" / "REFERENCE.md"


def every_action(parser):
    for action in parser._actions:
        if isinstance(action, argparse._SubParsersAction):
            for child in action.choices.values():
                yield from every_action(child)
        else:
            yield parser.prog, action


def test_the_file_is_up_to_date():
    assert FILE.read_text("utf-8") == reference(build_parser()), (
        "run `python -m dialtell.evaluate.cli.reference --write` and look at what changed"
    )


def test_every_verb_and_every_flag_is_in_it():
    text = reference(build_parser())
    for verb in VERBS:
        assert f"\n### dialtell {verb}\n" in text
    sections = {part.split("\n")[0].lstrip("# "): part for part in text.replace("\n#### ", "\n### ").split("\n### ")}
    for command, action in every_action(build_parser()):
        if action.dest not in ("help", "version", "verbose", "quiet"):
            for name in action.option_strings:
                assert f"`{name}" in sections[command], f"{command} {name}"


def test_every_flag_says_what_it_is():
    bare = [(command, action.dest) for command, action in every_action(build_parser()) if not action.help]
    assert bare == []


def test_it_depends_on_neither_the_terminal_nor_the_order_of_a_hash():
    said = []
    for columns, order in (("30", "1"), ("300", "2")):
        surroundings = os.environ | {"COLUMNS": columns, "PYTHONHASHSEED": order}
        words = [sys.executable, "-m", "dialtell.evaluate.cli.reference"]
        said.append(subprocess.run(words, env=surroundings, capture_output=True, check=True, timeout=60).stdout)
    assert said[0] == said[1]


def test_a_flag_as_it_is_written():
    parser = argparse.ArgumentParser(prog="tell", description="Tells <things>.\nAll of them.")
    parser.add_argument("photo", nargs="+", metavar="PHOTO", help="one_photo")
    group = parser.add_argument_group("sizes", "How large.")
    one = group.add_mutually_exclusive_group(required=True)
    one.add_argument("-s", "--size", type=int, default=18, metavar="N", help="size (default: %(default)s)")
    one.add_argument("--kind", choices=("a", "b"), help="one of %(choices)s, 100 %%")
    parser.add_argument("--span", nargs=2, metavar=("LO", "HI"), required=True, help="of %(prog)s")
    parser.add_argument("--more", nargs="*", metavar="X", help="some [X]")
    text = reference(parser)
    assert "Tells \\<things>. All of them." in text
    assert "```\ntell [FLAG ...] PHOTO [PHOTO ...] --span LO HI\n```" in text
    assert "- `PHOTO [PHOTO ...]`: one\\_photo" in text
    assert "**Sizes.** How large." in text
    assert "- `-s N`, `--size N`: size (default: 18)\n- `--kind {a,b}`: one of a, b, 100 %" in text
    assert "- `--span LO HI`: of tell (required)" in text
    assert "- `--more [X ...]`: some \\[X]" in text
    assert "Exactly one of `--size`, `--kind`." in text


def test_modules_have_a_line_each():
    found = dict(modules())
    assert "dialtell.evaluate.ladder.rungs" in found and "dialtell.evaluate.score.score" not in found
    # a first line only, and no heading of commands: it stands in a list
    assert all(line and len(line) < 200 and "    " not in line for line in found.values())
