"""What drawn dials look like, noted from those a net is calibrated on: of what lies beyond no call is made."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np
import torch

from dialtell.model.net.familiar import FEW, TRAITS, Familiar, traits_of
from dialtell.model.net.traits import numbers_of
from dialtell.train.bags.bags import Bag
from dialtell.train.run.calibrate import Floats
from dialtell.train.run.store import HeldOut

SHRUNK = 1e-4  # added to each variance, as a share: directions in which no dial differs would count without end
PASSED = 0.995  # of the drawn dials of the family that lies farther off
BOUNDS = (-9.0, -2.0, -1.0, 0.0, 9.0)  # log2 of true px per patch px, between which dials have a limit of their own
FEWEST = 200  # dials of a family, fewer do not tell that share


def drawn_traits(bags: Sequence[Bag], device: torch.device) -> Floats:
    """(n, TRAITS + 2) of dials, see familiar.traits_of."""
    found: list[Floats] = []
    with torch.no_grad():
        for batch in HeldOut(bags, device, 16):
            real = batch.zone >= 0 if batch.scale is None else (batch.zone >= 0) & (batch.scale == 0)
            values, own = numbers_of(batch.patches[real]).double().cpu().numpy(), real.cpu().numpy()
            ends = np.cumsum(own.sum(axis=1))[:-1]
            zones = (zone[chosen] for zone, chosen in zip(batch.zone.cpu().numpy(), own, strict=True))
            found += map(traits_of, np.split(values, ends), zones, batch.resolution.tolist())
    return np.array(found).reshape(-1, TRAITS + 2)


def note_familiar(families: Sequence[Floats], fresh: Floats) -> dict[str, Any]:
    """{"familiar": ..} of a record: what dials look like and the limits, set on drawn dials alone; empty where there
    are too few of them.

    families : (n, TRAITS + 2) of each family that calibrates. fresh : of the dials that figures are from; how many of
    them pass is stated, no more.
    Each half of the dials is measured against the other half, so that the limits hold for dials not fitted to. No limit
    is below that of all resolutions together.
    """
    if min(map(len, families)) < FEWEST:
        return {}
    apart = [np.empty(len(family)) for family in families]
    for half in (0, 1):
        fitted = fit_traits(np.concatenate([family[half::2] for family in families]))
        for distance, family in zip(apart, families, strict=True):
            distance[1 - half :: 2] = fitted.distance(family[1 - half :: 2])
    least = max(float(np.quantile(distance, PASSED)) for distance in apart)
    distance, resolution = np.concatenate(apart), np.concatenate([family[:, -1] for family in families])
    limits = []
    for low, high in pairwise(BOUNDS):
        own = distance[(resolution > low) & (resolution <= high)]
        limits.append((high, max(least, float(np.quantile(own, PASSED)) if len(own) else 0.0)))
    familiar = replace(fit_traits(np.concatenate(families)), limits=tuple(limits))
    said = familiar.record() | {"dials": sum(map(len, families)), "passed": PASSED}
    if len(fresh):
        said["fresh"] = {"dials": len(fresh), "passed": int(familiar.knows(fresh).sum())}
    return {"familiar": said}


def fit_traits(traits: Floats) -> Familiar:
    """What (n, TRAITS + 2) traits look like; the limits are still to be set. Dials of few patches count less, as they
    scatter more."""
    values = traits[:, :TRAITS]
    share = 1.0 / (1.0 + FEW / np.maximum(traits[:, TRAITS, None], 1.0))
    middle = (share * values).sum(0) / share.sum()
    away = np.sqrt(share) * (values - middle)
    covariance = away.T @ away / len(values)
    ridge = np.diag(SHRUNK * covariance.diagonal() + 1e-8)
    return Familiar(middle, np.linalg.inv(np.linalg.cholesky(covariance + ridge)), ((0.0, 1.0),))
