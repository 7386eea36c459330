"""The reference of every verb and flag, read off the parsers: evaluate/REFERENCE.md.

    python -m dialtell.evaluate.cli.reference --write

writes that file anew; without a flag it is printed, and --check says with exit status 1 that it is out of date. It is
made from the parsers' actions and not from their help, whose layout depends on the terminal and on Python's version.
"""

from __future__ import annotations

import argparse
import ast
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path

from dialtell.evaluate.cli.main import build_parser
from dialtell.synth.shared.files import write_text

PLACE = Path(__file__).parents[1] / "REFERENCE.md"
PARTS = Path(__file__).parents[2]  # holds synth, model, train and evaluate
HEAD = """\
# Reference of the command line

Made by `python -m dialtell.evaluate.cli.reference --write` from the parsers themselves; change those, not this file.
"""
MODULES = """\
## Run as modules

For measuring and checking; each explains itself with `--help`.
"""
EVERYWHERE = ("help", "version", "verbose", "quiet")  # said once, of the command as a whole


def reference(parser: argparse.ArgumentParser) -> str:
    """The whole text: the command, then each verb, then what runs as a module. Ends with a newline."""
    blocks = [HEAD, *_command(parser, 2), MODULES]
    blocks.append("\n".join(f"- `python -m {name}`: {line}" for name, line in modules()))
    return "\n\n".join(block.strip("\n") for block in blocks) + "\n"


def modules() -> list[tuple[str, str]]:
    """Every module with a main part of its own, and the first line of its docstring; read as text, not imported."""
    found = []
    for part in ("synth", "model", "train", "evaluate"):
        for path in sorted((PARTS / part).rglob("*.py")):
            tree = ast.parse(path.read_text("utf-8"))
            if any(isinstance(node, ast.If) and "__name__" in ast.dump(node.test) for node in tree.body):
                name = ".".join(["dialtell", *path.relative_to(PARTS).with_suffix("").parts])
                found.append((name, " ".join((ast.get_docstring(tree) or "").split("\n\n")[0].split())))
    return found


def _command(parser: argparse.ArgumentParser, depth: int) -> Iterator[str]:
    """Blocks of Markdown for one parser and those below it; depth is that of its heading."""
    yield f"{'#' * depth} {parser.prog}"
    if parser.description:
        yield from (_prose(part) for part in parser.description.strip().split("\n\n"))
    yield f"```\n{call(parser)}\n```"
    below: dict[str, argparse.ArgumentParser] = {}
    for group in parser._action_groups:
        shown = [action for action in group._group_actions if depth == 2 or action.dest not in EVERYWHERE]
        for action in list(shown):
            if isinstance(action, argparse._SubParsersAction):
                below |= action.choices
                shown.remove(action)
        if not shown:
            continue
        if group.title not in ("positional arguments", "options"):
            yield f"**{_upper(group.title or '')}.**" + (f" {_prose(group.description)}" if group.description else "")
        yield "\n".join(f"- {_head(action)}: {_help_text(action, parser)}" for action in shown)
    for one in parser._mutually_exclusive_groups:
        names = list(dict.fromkeys(_name(action) for action in one._group_actions))
        if depth == 2 or one._group_actions[0].dest not in EVERYWHERE:
            yield f"{'Exactly' if one.required else 'At most'} one of {', '.join(f'`{name}`' for name in names)}."
    if parser.epilog:
        yield f"```text\n{parser.epilog.strip()}\n```"
    for child in below.values():
        yield from _command(child, min(depth + 1, 6))


def call(parser: argparse.ArgumentParser) -> str:
    """The shortest form of a call: the command, what it cannot do without, and "[FLAG ...]" where it takes more."""
    words, more = [parser.prog], False
    for action in parser._actions:
        if isinstance(action, argparse._SubParsersAction):
            words += [str(action.metavar or action.dest).upper(), "..."]
        elif not action.option_strings:
            words.append(_values(action))
        elif action.required:
            words += [_name(action), _values(action)]
        else:
            more |= action.dest != "help"
    return " ".join([words[0], *(["[FLAG ...]"] if more else []), *words[1:]])


def _head(action: argparse.Action) -> str:
    """The flag under all its names, with what it takes, as code."""
    takes = _values(action)
    if not action.option_strings:
        return f"`{takes}`"
    return ", ".join(f"`{' '.join(filter(None, [name, takes]))}`" for name in action.option_strings)


def _values(action: argparse.Action) -> str:
    """What an action takes from the line: "" (nothing), "FILE", "LO HI", "[N ...]", "{a,b}"."""
    if action.nargs == 0:
        return ""
    if action.metavar is None:
        plain = action.dest if not action.option_strings else action.dest.upper()
        names: tuple[str, ...] = ("{" + ",".join(map(str, action.choices)) + "}",) if action.choices else (plain,)
    else:
        names = action.metavar if isinstance(action.metavar, tuple) else (action.metavar,)
    first, last = names[0], names[-1]
    if isinstance(action.nargs, int):
        return " ".join(names if len(names) == action.nargs else names * action.nargs)
    many = {"?": f"[{first}]", "*": f"[{last} ...]", "+": f"{first} [{last} ...]"}
    return many.get(str(action.nargs), first)


def _help_text(action: argparse.Action, parser: argparse.ArgumentParser) -> str:
    """An action's help with its values put in, and whether it must be given."""
    known = {name: getattr(value, "__name__", value) for name, value in vars(action).items()} | {"prog": parser.prog}
    if action.choices is not None:
        known["choices"] = ", ".join(map(str, action.choices))
    needed = " (required)" if action.required and action.option_strings else ""
    return _prose((action.help or "") % known) + needed


def _name(action: argparse.Action) -> str:
    return action.option_strings[-1] if action.option_strings else _values(action)


def _upper(text: str) -> str:
    return text[:1].upper() + text[1:]


def _prose(text: str) -> str:
    """Text on one line, its marks not taken for Markdown's."""
    line = " ".join(text.split())
    for mark in ("\\", "*", "<", "[", "_"):
        line = line.replace(mark, "\\" + mark)
    return line


def main(arguments: Sequence[str] | None = None) -> int:
    """Print, write or check the reference; returns the exit status."""
    parser = argparse.ArgumentParser(
        prog="python -m dialtell.evaluate.cli.reference", description=(__doc__ or "").split("\n")[0]
    )
    do = parser.add_mutually_exclusive_group()
    do.add_argument("--write", action="store_true", help=f"write {PLACE.name} beside this module")
    do.add_argument("--check", action="store_true", help="say with exit status 1 that the file is out of date")
    args = parser.parse_args(arguments)
    text = reference(build_parser())
    if args.write:
        write_text(PLACE, text, overwrite=True)
    elif args.check:
        if not PLACE.is_file() or PLACE.read_text("utf-8") != text:
            print(f"{PLACE} is out of date; write it with --write", file=sys.stderr)
            return 1
    else:
        print(text, end="")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
