"""Pages from the templates in this folder: one frame, the house look, and a script that runs by its digest alone.

`inspection.html` and its like extend `frame.html`; each page gets inspection.css with a NAME.css of its own after it,
and NAME.js where there is one. A page's policy lets no other script run and nothing be fetched.
"""

from __future__ import annotations

import base64
import hashlib
import importlib.resources
from functools import cache

import jinja2
from markupsafe import Markup

LOOK = "inspection.css"


def filled(name: str, /, **values: object) -> str:
    """The page NAME.html with these values, all of them escaped but Markup. Raises jinja2's errors for one missing."""
    styles = dict.fromkeys([LOOK, f"{name}.css"])
    script = own(f"{name}.js") if has(f"{name}.js") else ""
    return _environment().get_template(f"{name}.html").render(
        # our own files; everything else is escaped
        style=Markup("".join(own(style) for style in styles if has(style))),
        script=Markup(script),
        script_hash=digest(script),
        **values,
    )  # fmt: skip


def digest(script: str) -> str:
    """What a policy names a script by: its SHA-256 in base64."""
    return "sha256-" + base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()


def own(name: str) -> str:
    """The text of a file in this folder."""
    return importlib.resources.files(__package__).joinpath(name).read_text(encoding="utf-8")


def has(name: str) -> bool:
    """Whether this folder has a file of that name."""
    return importlib.resources.files(__package__).joinpath(name).is_file()


@cache
def _environment() -> jinja2.Environment:
    return jinja2.Environment(
        loader=jinja2.FunctionLoader(own),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
