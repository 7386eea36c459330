"""Fitting the calibration, and the figures measured with it on dials neither trained nor calibrated on."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

from dialtell.model.net.calibration import PRINTED, Calibration, call_for
from dialtell.model.net.output import NetOutput
from dialtell.train.bags.bags import Bag
from dialtell.train.stats.call_figures import call_figures, called_by_ratio
from dialtell.train.stats.likelihood_ratio import validated_bounds
from dialtell.train.stats.proportion import wilson

Floats = NDArray[np.float64]

# log2 of true px per patch px: a patch px is 1/640 of the dial radius, 29 px/mm on an 18 size dial at 0; half octaves,
# so that what a photograph must resolve is known as finely as one thousand dials allow
RESOLUTION_BINS = (
    ("below 7 px/mm", -9.0, -2.0),
    ("7 to 10 px/mm", -2.0, -1.5),
    ("10 to 15 px/mm", -1.5, -1.0),
    ("15 to 21 px/mm", -1.0, -0.5),
    ("21 to 29 px/mm", -0.5, 0.0),
    ("29 px/mm and above", 0.0, 9.0),
)
FEWEST = 5  # dials of each kind in a bin, below which it is not measured


def gather_logits(outputs: Sequence[NetOutput], bags: Sequence[Bag]) -> dict[str, Floats]:
    """Logits with truth, flat: dial_logit, dial_truth, dial_resolution; zone_logit, zone_truth, zone_index, ...

    print_logit, print_truth (1 photographic, 0 transfer), print_resolution, and print_dial_logit beside them: of dials
    printed throughout.
    """
    printing = np.concatenate([o.photographic.cpu().numpy() for o in outputs]).astype(np.float64)
    dial = np.concatenate([o.dial.cpu().numpy() for o in outputs]).astype(np.float64)
    zone = np.concatenate([o.zone.cpu().numpy() for o in outputs]).astype(np.float64)
    present = np.concatenate([o.present.cpu().numpy() for o in outputs])
    truth = np.array([bag.dial for bag in bags], dtype=np.float64)
    hand = np.stack([bag.hand for bag in bags]).astype(np.float64)
    resolution = np.array([bag.resolution for bag in bags])
    pure = truth >= 0
    photographic = np.array([bag.photographic for bag in bags], dtype=np.float64)
    printed = (truth == 0) & (photographic >= 0)
    row, column = np.nonzero(present & (hand >= 0))
    return {
        "dial_logit": dial[pure], "dial_truth": truth[pure], "dial_resolution": resolution[pure],
        "zone_logit": zone[row, column], "zone_truth": hand[row, column], "zone_index": column.astype(float),
        "zone_resolution": resolution[row],
        "print_logit": printing[printed], "print_truth": photographic[printed],
        "print_resolution": resolution[printed], "print_dial_logit": dial[printed],
    }  # fmt: skip


def fit_calibration(logit: Floats, truth: Floats) -> Calibration:
    """Platt's logistic fit with his smoothed targets, at prior 1:1; caps from validated bounds on the same dials."""
    hand = truth == 1
    n1, n0 = int(hand.sum()), int((~hand).sum())
    target = np.where(hand, (n1 + 1) / (n1 + 2), 1 / (n0 + 2))
    weight = np.where(hand, 0.5 / max(n1, 1), 0.5 / max(n0, 1))  # both sides count alike, whatever their number

    def loss(p: Floats) -> float:
        z = p[0] * logit + p[1]
        return float(np.sum(weight * (np.logaddexp(0, z) - target * z)))

    slope, offset = minimize(loss, np.array([1.0, 0.0]), method="Nelder-Mead").x
    slope = float(np.clip(slope, 0.02, 10.0))
    ratio = (slope * logit + offset) / np.log(10)
    if n1 == 0 or n0 == 0:
        return Calibration(slope, float(offset), -1.0, 1.0)
    bounds = validated_bounds(ratio[hand], ratio[~hand])
    return Calibration(slope, float(offset), min(bounds.low, 0.0), max(bounds.high, 0.0))


def called_printed(logit: Floats, resolution: Floats, calibration: Calibration) -> NDArray[np.bool_]:
    """Which dials are called printed: only of those is the process of print stated."""
    pairs = zip(logit, resolution, strict=True)
    return np.array([call_for(calibration.log10_lr(z, r)[0]) == PRINTED for z, r in pairs], dtype=bool)


def figures(logit: Floats, truth: Floats, resolution: Floats, calibration: Calibration) -> list[dict[str, Any]]:
    """One row per resolution bin, and one for all: n, AUC, calls, calibration error; intervals at 95 %."""
    rows = []
    for name, low, high in (("all", -99.0, 99.0), *RESOLUTION_BINS):
        chosen = (resolution >= low) & (resolution < high)
        ratio = np.array(
            [calibration.log10_lr(z, r)[0] for z, r in zip(logit[chosen], resolution[chosen], strict=True)]
        )
        found = call_figures(called_by_ratio(truth[chosen] == 1, ratio), fewest=FEWEST)
        if not (found.coverage and found.auc and found.ece and found.brier and found.cllr):
            rows.append({"resolution": name, "n": found.n, "note": "too few dials to measure"})
            continue
        right, made = found.right, max(found.decided, 1)
        rows.append(
            {
                "resolution": name,
                "n": found.n,
                "auc": round(found.auc.value, 4),
                "auc_95": [round(v, 4) for v in found.auc.interval or (0.0, 1.0)],
                "undetermined_share": round(1 - found.coverage.value, 4),
                "decided": found.decided,
                "right": right,
                "accuracy": round(right / made, 4),
                "accuracy_95": [round(v, 4) for v in wilson(right, made)],
                "ece": round(found.ece.value, 4),
                "brier": round(found.brier.value, 4),
                "cllr": round(found.cllr.value, 4),
            }
        )
    return rows
