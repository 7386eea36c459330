"""What drawn dials look like to a net, noted from those it is calibrated on: beyond it no call is made."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from dialtell.model.net.familiar import FEW, Familiar
from dialtell.model.net.net import NetOutput
from dialtell.train.run.calibrate import Floats

DIRECTIONS = 32  # kept of the traits; all others count alike
PASSED = 0.995  # of the drawn dials of the family that lies farther off
FEWEST = 200  # dials of a family, fewer do not tell that share


def stacked_traits(outputs: Sequence[NetOutput]) -> Floats | None:
    """(n, T + 1) traits of all dials; None from a net that gives none."""
    found = [output.traits.double().cpu().numpy() for output in outputs if output.traits is not None]
    return np.concatenate(found) if found and len(found) == len(outputs) else None


def note_familiar(families: Sequence[Floats | None], fresh: Floats | None) -> dict[str, Any]:
    """{"familiar": ..} of a record: what dials look like and the limit, set on drawn dials alone; empty where there are
    too few of them. families : (n, T + 1) traits of each family that calibrates. fresh : of the dials figures are from, of
    which it is only stated how many pass.

    Each half of the dials is measured against the other half, so that the limit holds for dials not fitted to.
    """
    known = [family for family in families if family is not None and len(family) >= FEWEST]
    if not known or len(known) < len(families):
        return {}
    apart = [np.empty(len(family)) for family in known]
    for half in (0, 1):
        fitted = fit_traits(np.concatenate([family[half::2] for family in known]))
        for distance, family in zip(apart, known, strict=True):
            distance[1 - half :: 2] = fitted.distance(family[1 - half :: 2])
    limit = max(float(np.quantile(distance, PASSED)) for distance in apart)
    familiar = replace(fit_traits(np.concatenate(known)), limit=limit)
    said = familiar.record() | {"dials": sum(map(len, known)), "passed": PASSED}
    if fresh is not None and len(fresh):
        said["fresh"] = {"dials": len(fresh), "passed": int(familiar.knows(fresh).sum())}
    return {"familiar": said}


def fit_traits(traits: Floats) -> Familiar:
    """Mean, SDs and leading directions of (n, T + 1) traits; the limit is still to be set. A direction needs ten dials.
    Dials of few patches count less, as they scatter more."""
    n, values = len(traits), traits[:, :-1]
    share = 1.0 / (1.0 + FEW / np.maximum(traits[:, -1:], 1.0))
    middle = (share * values).sum(0) / share.sum()
    away = np.sqrt(share) * (values - middle)
    size = np.maximum(np.sqrt(np.square(away).mean(0)), 1e-4)
    _, singular, axes = np.linalg.svd(away / size, full_matrices=False)
    variance = np.square(singular) / n
    k = max(min(DIRECTIONS, n // 10, len(variance) - 1), 1)
    rest = math.sqrt(max(float(variance[k:].sum()) / max(values.shape[1] - k, 1), 1e-3))
    return Familiar(middle, size, axes[:k], np.sqrt(np.maximum(variance[:k], 1e-6)), rest, limit=1.0)
