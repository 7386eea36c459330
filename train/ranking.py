"""Area under the ROC curve during training; the intervals live in evaluate."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.stats import rankdata


def auc(labels: NDArray[np.generic], scores: NDArray[np.generic]) -> float:
    """Share of (1, 0) pairs ranked rightly, ties half (Mann-Whitney); nan where a class is missing."""
    positive = labels.astype(int) == 1
    n1, n0 = int(positive.sum()), int((~positive).sum())
    if n1 == 0 or n0 == 0:
        return float("nan")
    ranks = rankdata(scores)
    return float((ranks[positive].sum() - n1 * (n1 + 1) / 2) / (n1 * n0))
