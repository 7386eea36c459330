"""About a dozen plain statistics of a patch, by which a drawn photograph can be told from a real one without a net.

Density is in shares of the dial's full density, lengths are patch px (29 to the mm of an 18 size dial).
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy import stats

from dialtell.model.reading.geometry import Image

Floats = NDArray[np.float64]

INKED = 0.4  # density from which a pixel counts as ink
FAINT = 0.15  # density from which a pixel belongs to a stroke, however thin it is laid
THIN, THICK = 2.6, 4.5  # px, half widths of a stroke: at most, at least
NEAR, FAR, BARE = (2.5, 5.0), (7.0, 11.0), 13.0  # px from ink
LEAST = 16  # px that a statistic must rest on
NAMES = {
    "mean density": "",
    "ink share": "",
    "density of the blackest": "97th percentile",
    "local contrast": "SD of density",
    "steep edges": "90th percentile of the gradient beside ink",
    "ordinary edges": "median of the gradient beside ink",
    "soft px": "share of px at the edge between a quarter and three quarters of full",
    "near halo": "density 2.5 to 5 px off ink, less that of bare enamel",
    "far halo": "likewise 7 to 11 px off",
    "lightest": "1st percentile less the density of bare enamel",
    "fine noise": "log10 robust SD of bare enamel less its own blur",
    "coarse noise": "log10 robust SD of bare enamel, blurred",
    "noise grain": "correlation of bare enamel's noise with its right and lower neighbour",
    "grain in ink": "log10 robust SD inside thick strokes less their own blur",
    "shading of ink": "log10 robust SD inside thick strokes, blurred",
    "thin against thick": "density along thin strokes over that along thick ones",
    "peakedness": "log kurtosis of the Laplacian",
    "fine detail": "log10 share of energy above a quarter of the sampling rate",
    "middle detail": "log10 share of energy between an eighth and a quarter",
}


def patch_statistics(density: Image) -> Floats:
    """(N, S, S) density -> (N, len(NAMES)); NaN where a patch has too little to tell a statistic by."""
    return np.array([list(_one(patch).values()) for patch in density]).reshape(-1, len(NAMES))


def _one(patch: Image) -> dict[str, float]:
    smooth = np.asarray(cv2.GaussianBlur(patch, (0, 0), 1.5), dtype=np.float32)
    across, down = (cv2.Scharr(patch, cv2.CV_32F, *axes) / 32.0 for axes in ((1, 0), (0, 1)))
    steep = np.hypot(across, down)
    ink = patch > INKED
    off = cv2.distanceTransform((~ink).astype(np.uint8), cv2.DIST_L2, 5)
    within = cv2.distanceTransform(ink.astype(np.uint8), cv2.DIST_L2, 5)
    broad = cv2.distanceTransform((patch > FAINT).astype(np.uint8), cv2.DIST_L2, 5)
    ridge = (broad > 0) & (broad >= cv2.dilate(broad, np.ones((3, 3), np.uint8)))
    edge = (off <= 2.0) & (within <= 2.0)
    if not ink.any():
        off = np.full_like(off, 1e3)
    bare = off > BARE if (off > BARE).sum() >= LEAST else off > 0.7 * BARE
    ground = _middle(patch[bare])
    noise = patch - smooth
    inside = within > THIN
    laplacian = cv2.Laplacian(patch, cv2.CV_32F)[2:-2, 2:-2]
    power = _power(patch)
    thin, thick = ridge & (broad <= THIN), ridge & (broad >= THICK)
    values = [
        float(patch.mean()),
        float(ink.mean()),
        float(np.quantile(patch, 0.97)),
        float(patch.std()),
        _quantile(steep[edge], 0.9),
        _quantile(steep[edge], 0.5),
        float(((patch[edge] > 0.25) & (patch[edge] < 0.75)).mean()) if edge.sum() >= LEAST else np.nan,
        _middle(patch[(off > NEAR[0]) & (off <= NEAR[1])]) - ground,
        _middle(patch[(off > FAR[0]) & (off <= FAR[1])]) - ground,
        float(np.quantile(patch, 0.01)) - ground,
        _spread(noise[bare]),
        _spread(smooth[bare]),
        _grain(noise, bare),
        _spread(noise[inside]),
        _spread(smooth[inside]),
        float(np.median(patch[thin]) / np.median(patch[thick])) if min(thin.sum(), thick.sum()) >= LEAST else np.nan,
        float(np.log(max(stats.kurtosis(laplacian, axis=None, fisher=False), 1.0))) if laplacian.std() > 0 else np.nan,
        float(np.log10(power[2] / power.sum())),
        float(np.log10(power[1] / power.sum())),
    ]
    return dict(zip(NAMES, values, strict=True))


def _middle(values: Image) -> float:
    return float(np.median(values)) if values.size >= LEAST else float("nan")


def _quantile(values: Image, share: float) -> float:
    return float(np.quantile(values, share)) if values.size >= LEAST else float("nan")


def _spread(values: Image) -> float:
    if values.size < LEAST:
        return float("nan")
    return float(np.log10(max(1.4826 * np.median(np.abs(values - np.median(values))), 1e-4)))


def _grain(noise: Image, where: NDArray[np.bool_]) -> float:
    """Mean correlation with the neighbour to the right and the one below, both in `where`."""
    found = []
    for one, other in ((np.s_[:, :-1], np.s_[:, 1:]), (np.s_[:-1], np.s_[1:])):
        both = where[one] & where[other]
        a, b = noise[one][both], noise[other][both]
        if both.sum() < LEAST or a.std() < 1e-6 or b.std() < 1e-6:
            return float("nan")
        found.append(float(np.corrcoef(a, b)[0, 1]))
    return float(np.mean(found))


def _power(patch: Image) -> Floats:
    """Energy (3,) below an eighth, from there to a quarter and above a quarter of the sampling rate."""
    side = len(patch)
    window = np.hanning(side)[:, None] * np.hanning(side)
    energy = np.abs(np.fft.fft2((patch - patch.mean()) * window)) ** 2
    rate = np.hypot(np.fft.fftfreq(side)[:, None], np.fft.fftfreq(side))
    return np.array([energy[rate < 0.125].sum(), energy[(rate >= 0.125) & (rate < 0.25)].sum(),
                     energy[rate >= 0.25].sum()]) + 1e-9  # fmt: skip
