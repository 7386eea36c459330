"""Patches and verdicts made up, for tests of what is said of them."""

from __future__ import annotations

import numpy as np

from dialtell.model.net.verdict import ProcessEvidence, Verdict
from dialtell.model.reading.patches import SIDE, PatchSet
from dialtell.synth.shared.terms import ZONES


def patches(*counts, resolution=0.0):
    """A bag with so many patches of each zone, in the examiner's order."""
    zone = np.repeat(np.arange(len(counts)), counts)
    n = len(zone)
    density = np.random.default_rng(0).uniform(0, 1, (n, SIDE, SIDE)).astype(np.float32)
    right = np.tile([1.0, 0.0], (n, 1))
    return PatchSet(density, zone, np.zeros((n, 2)), right, np.full(n, 0.3), 1.0, resolution)


def verdict(whole, *ratios):
    """ratios : log10 LR of each zone in the examiner's order; None not judged."""
    zones = {zone: ProcessEvidence(0) for zone in ZONES}
    for zone, ratio in zip(ZONES, ratios, strict=False):
        zones[zone] = ProcessEvidence(2 if ratio is None else 12, ratio)
    return Verdict(ProcessEvidence(40, whole), zones)
