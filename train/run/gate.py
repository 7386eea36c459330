"""What drawn dials look like, noted from those a net is calibrated on: of what lies beyond no call is made."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import torch

from dialtell.model.net.familiar import FEW, TRAITS, Familiar, traits_of
from dialtell.train.bags.bags import Bag
from dialtell.train.run.calibrate import Floats
from dialtell.train.run.store import HeldOut

SHRUNK = 1e-4  # added to each variance, as a share: directions in which no dial differs would count without end
PASSED = 0.995  # of the drawn dials of the family that lies farther off
FEWEST = 200  # dials of a family, fewer do not tell that share


def drawn_traits(bags: Sequence[Bag], device: torch.device) -> Floats:
    """(n, TRAITS + 1) of dials, see familiar.traits_of."""
    with torch.no_grad():
        found = [traits_of(batch.patches, batch.zone, batch.scale) for batch in HeldOut(bags, device, 16)]
    return torch.cat(found).double().cpu().numpy() if found else np.empty((0, TRAITS + 1))


def note_familiar(families: Sequence[Floats], fresh: Floats) -> dict[str, Any]:
    """{"familiar": ..} of a record: what dials look like and the limit, set on drawn dials alone; empty where there are
    too few of them.

    families : (n, TRAITS + 1) of each family that calibrates. fresh : of the dials that figures are from; how many of
    them pass is stated, no more.
    Each half of the dials is measured against the other half, so that the limit holds for dials not fitted to.
    """
    if min(map(len, families)) < FEWEST:
        return {}
    apart = [np.empty(len(family)) for family in families]
    for half in (0, 1):
        fitted = fit_traits(np.concatenate([family[half::2] for family in families]))
        for distance, family in zip(apart, families, strict=True):
            distance[1 - half :: 2] = fitted.distance(family[1 - half :: 2])
    limit = max(float(np.quantile(distance, PASSED)) for distance in apart)
    familiar = replace(fit_traits(np.concatenate(families)), limit=limit)
    said = familiar.record() | {"dials": sum(map(len, families)), "passed": PASSED}
    if len(fresh):
        said["fresh"] = {"dials": len(fresh), "passed": int(familiar.knows(fresh).sum())}
    return {"familiar": said}


def fit_traits(traits: Floats) -> Familiar:
    """What (n, TRAITS + 1) traits look like; the limit is still to be set. Dials of few patches count less, as they
    scatter more."""
    values = traits[:, :-1]
    share = 1.0 / (1.0 + FEW / np.maximum(traits[:, -1:], 1.0))
    middle = (share * values).sum(0) / share.sum()
    away = np.sqrt(share) * (values - middle)
    covariance = away.T @ away / len(values)
    ridge = np.diag(SHRUNK * covariance.diagonal() + 1e-8)
    return Familiar(middle, np.linalg.inv(np.linalg.cholesky(covariance + ridge)), limit=1.0)
