"""Two dials from one plate coincide everywhere, two painted ones never do: what is left after laying them together.

A likelihood ratio for "one plate fits both" against "drawn separately" (painted copies, or another plate of the same
artwork), by a logistic model on drawn pairs, held within what as many pairs can vouch for. Two plates cut by machine
from the same artwork fit each other, so the words are "one plate fits both", not "the same plate".
"""

from __future__ import annotations

import importlib.resources
import json
import math
from dataclasses import dataclass
from functools import cache
from typing import Any

from dialtell.evaluate.registration import LEAST_SITES, Registration
from dialtell.model.calibration import threshold
from dialtell.synth.errors import WeightsError

ONE_PLATE = "same design, one plate fits both"
SEPARATE = "same design, drawn separately"
DIFFERENT = "different designs"
CANNOT_TELL = "cannot tell"
FEATURES = ("ln spread, dial radii", "ln spread, px", "ln px per dial radius", "logit share", "mean score")
FILE = "plate_test.json"


@dataclass(frozen=True)
class PlateModel:
    """log10 LR = (offset + sum of weights * (features - middle)) / ln 10, within low..high.

    alike : share of matched sites from which the designs are the same; unlike : up to which they differ. coarsest : px
    per dial radius below which nothing is said. figures : of the pairs it was measured on.
    """

    offset: float
    weights: tuple[float, ...]
    middle: tuple[float, ...]
    low: float
    high: float
    alike: float
    unlike: float
    coarsest: float
    figures: dict[str, Any]


@dataclass(frozen=True)
class PlateVerdict:
    """finding : one of the four. log10_lr : positive for one plate, None if the designs differ or were not compared.

    spread : robust SD per axis of what is left over, dial radii; nan if not measured. noise : the same for two
    photographs of one print at this resolution, dial radii.
    """

    finding: str
    reason: str
    log10_lr: float | None
    capped: bool
    sites: int
    matched: int
    spread: float
    noise: float


def features(found: Registration) -> tuple[float, ...]:
    """What the model reads; see FEATURES."""
    spread = max(found.spread, 1e-5)
    share = min(max(found.share, 0.02), 0.98)
    score = float(found.score[found.matched].mean()) if found.matched.any() else 0.0
    return (
        math.log(spread),
        math.log(max(spread * found.scale, 0.01)),
        math.log(found.scale),
        math.log(share / (1 - share)),
        score,
    )


def noise_floor(scale: float) -> float:
    """SD per axis, dial radii, of a match between two photographs of one print: about 0.12 px (measured on renders)."""
    return 0.12 / scale


def judge_pair(found: Registration | None, model: PlateModel | None = None) -> PlateVerdict:
    """The finding for two dials laid on each other."""
    model = model or shipped_model()
    nan = float("nan")
    if found is None:
        why = f"Fewer than {LEAST_SITES} places on the first dial can be compared."
        return PlateVerdict(CANNOT_TELL, why, None, False, 0, 0, nan, nan)
    sites, matched = len(found.sites), int(found.matched.sum())
    noise = noise_floor(found.scale)

    def verdict(finding: str, why: str, ratio: float | None = None, capped: bool = False) -> PlateVerdict:
        return PlateVerdict(finding, why, ratio, capped, sites, matched, found.spread, noise)

    where = f"{matched} of {sites} places on the first dial were found on the second"
    if found.share <= model.unlike:
        return verdict(DIFFERENT, f"Only {where}.")
    if matched < LEAST_SITES or found.share < model.alike:
        return verdict(CANNOT_TELL, f"{where}: too few to say that the design is the same, too many to say it is not.")
    if found.scale < model.coarsest:
        why = f"The photographs resolve {found.scale:.0f} px per dial radius; {model.coarsest:.0f} are needed."
        return verdict(CANNOT_TELL, why)
    raw = model.offset + sum(w * (x - m) for w, x, m in zip(model.weights, features(found), model.middle, strict=True))
    ratio = raw / math.log(10)
    held = min(max(ratio, model.low), model.high)
    left = f"{where}, and they stray by {found.spread * found.scale:.2f} px per axis after a smooth bend"
    if abs(held) < threshold():
        return verdict(CANNOT_TELL, f"{left}: that fits both.", held, held != ratio)
    if held > 0:
        return verdict(ONE_PLATE, f"{left}: no more than two photographs of one print do.", held, held != ratio)
    return verdict(SEPARATE, f"{left}: more than one plate would leave.", held, held != ratio)


@cache
def shipped_model() -> PlateModel:
    """The model that comes with dialtell; WeightsError when its file is damaged."""
    place = importlib.resources.files("dialtell.evaluate").joinpath(FILE)
    try:
        return model_from(json.loads(place.read_text(encoding="utf-8")))
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise WeightsError(f"{FILE} is missing or damaged ({error}); install dialtell again") from error


def model_from(record: dict[str, Any]) -> PlateModel:
    """A model from its JSON."""
    if record["schema"] != "dialtell.plate/1" or tuple(record["features"]) != FEATURES:
        raise ValueError("made for other features")
    return PlateModel(
        offset=float(record["offset"]),
        weights=tuple(float(v) for v in record["weights"]),
        middle=tuple(float(v) for v in record["middle"]),
        low=float(record["low"]),
        high=float(record["high"]),
        alike=float(record["alike"]),
        unlike=float(record["unlike"]),
        coarsest=float(record["coarsest"]),
        figures=dict(record["figures"]),
    )
