"""Names that a package offers and loads only when they are asked for (PEP 562)."""

from __future__ import annotations

import importlib
from collections.abc import Callable, Mapping
from typing import Any


def lazy(package: str, homes: Mapping[str, str]) -> Callable[[str], Any]:
    """The `__getattr__` of a package. homes : the module that each name is found in."""

    def found(name: str) -> Any:
        if name not in homes:
            raise AttributeError(f"module {package!r} has no attribute {name!r}")
        return getattr(importlib.import_module(homes[name]), name)

    return found
