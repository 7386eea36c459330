"""A second opinion: the measurements alone, weighed by a plain logistic model, as one likelihood ratio.

Each measurement gives its lean (log10 of how much commoner its value is among painted than among printed dials); the
model weighs the leans, since many say the same thing twice. What could not be measured says nothing: it adds 0. The
weights were fitted to drawn dials whose leans came from other drawn dials.

`python tests/trials opinions/opinion_fit` fits and measures it.
"""

from __future__ import annotations

import importlib.resources
import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dialtell.evaluate.measurements.evidence import MeasuredEvidence
from dialtell.synth.shared.errors import ParameterError

Floats = NDArray[np.float64]

SCHEMA = "dialtell.second_opinion/1"
FILE = "second_opinion.json"
LEAST_USED = 5  # leans below which there is no opinion


@dataclass(frozen=True)
class Opinion:
    """log10_lr : positive for painted, within what validation can vouch for; None with too few measurements.

    capped : whether it was cut. used, missing : measurements ("zone|name") that spoke, and that could have.
    """

    log10_lr: float | None
    capped: bool
    used: tuple[str, ...]
    missing: tuple[str, ...]


NO_OPINION = Opinion(None, False, (), ())


@dataclass(frozen=True, eq=False)
class Weigher:
    """weights : natural-log odds per unit of lean, by "zone|name". low, high : bounds of log10 LR."""

    weights: Mapping[str, float]
    low: float
    high: float

    def weigh(self, leans: Mapping[str, float]) -> Opinion:
        """leans : by "zone|name"; those the model does not know are left out."""
        used = tuple(key for key in self.weights if key in leans)
        missing = tuple(key for key in self.weights if key not in leans)
        if len(used) < LEAST_USED:
            return Opinion(None, False, used, missing)
        ratio = sum(self.weights[key] * leans[key] for key in used) / math.log(10)
        held = min(max(ratio, self.low), self.high)
        return Opinion(held, held != ratio, used, missing)


def second_opinion(evidence: MeasuredEvidence, weigher: Weigher | None = None) -> Opinion:
    """The opinion on one photograph's measurements, at even prior odds.

    weigher : None for the one that comes with dialtell.
    """
    return (weigher or load_weigher()).weigh(
        {f"{row.zone}|{row.name}": row.lean for row in evidence.rows if row.lean is not None}
    )


@lru_cache(maxsize=1)
def load_weigher() -> Weigher:
    """The model that comes with dialtell."""
    text = importlib.resources.files(__package__).joinpath(FILE).read_text(encoding="utf-8")
    return weigher_from(json.loads(text), FILE)


def weigher_from(document: Mapping[str, Any], source: str) -> Weigher:
    """Raises ParameterError where the document is none of ours."""
    if document.get("schema") != SCHEMA:
        raise ParameterError(f"{source} is no {SCHEMA}; make it anew with trials opinions/reference_spread --opinion")
    low, high = document["log10_bounds"]
    return Weigher({str(k): float(v) for k, v in document["weights"].items()}, float(low), float(high))
