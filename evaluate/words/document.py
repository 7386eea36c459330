"""A document as JSON text."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from typing import Any

# lists of numbers, then lists of those, as json.dumps lays them out; text in JSON holds no bare line break
_NUMBER, _LIST = r"-?\d[-+.\deE]*", r"\[[^\[\]\n]*\]"
_SPREAD = [re.compile(rf"\[\n\s+({part}(?:,\n\s+{part})*)\n\s+\]") for part in (_NUMBER, _LIST)]


def json_text(document: Mapping[str, Any]) -> str:
    """Strict JSON (no NaN) without a final newline, a line for each entry, lists of numbers on one line."""
    text = json.dumps(document, indent=1, allow_nan=False)
    for spread in _SPREAD:
        text = spread.sub(lambda found: "[" + re.sub(r"\n\s+", " ", found[1]) + "]", text)
    return text
