"""Trials: what measures, breaks and makes anew the program, outside the wheel.

    python tests/trials                     lists them
    python tests/trials kills/kills --help  runs one

A trial is a module with `main(arguments) -> int`. Trials import each other as `trials.ROOM.NAME`.
"""

from __future__ import annotations

import ast
import importlib
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent


def trials() -> dict[str, str]:
    """Every trial by ROOM/NAME, with the first line of its docstring."""
    found = {}
    for path in sorted(HERE.glob("*/*.py")):
        tree = ast.parse(path.read_text("utf-8"))
        if any(isinstance(node, ast.FunctionDef) and node.name == "main" for node in tree.body):
            found[f"{path.parent.name}/{path.stem}"] = (ast.get_docstring(tree) or "").split("\n")[0]
    return found


def main(words: list[str]) -> int:
    """Run the trial named first; without one, list them."""
    known = trials()
    if not words or words[0] in ("-h", "--help"):
        print(__doc__)
        for name, line in known.items():
            print(f"  {name:32} {line}")
        return 0
    if words[0] not in known:
        print(f"{words[0]} is no trial; give one of {', '.join(known)}", file=sys.stderr)
        return 2
    sys.argv = [f"python tests/trials {words[0]}", *words[1:]]
    run = importlib.import_module(f"trials.{words[0].replace('/', '.')}").main
    return int(run(words[1:]) or 0)


# also in worker processes, which import this file anew: they find trials by name
if str(HERE.parent) not in sys.path:
    sys.path.insert(0, str(HERE.parent))

if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
