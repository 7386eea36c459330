"""Two dials from one plate coincide but for faults of the sheet, two painted ones hardly ever do: what is left then.

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

from dialtell.evaluate.compare.findings import CANNOT_TELL, DIFFERENT, ONE_PLATE, SEPARATE
from dialtell.evaluate.compare.registration import LEAST_SITES, Registration
from dialtell.model.net.calibration import threshold
from dialtell.synth.shared.errors import WeightsError

FEATURES = ("ln spread, dial radii", "ln spread, px", "ln px per dial radius", "logit share", "mean score")
FILE = "plate_test.json"
# log10 LR for one plate that a part of a dial may reach: the model was measured on whole dials, and the strokes of one
# painted figure lie together better than those of two
PART_HIGH = 0.5


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


@dataclass(frozen=True)
class Laid:
    """What the test reads of two dials laid on each other, without the pictures.

    scale : px per dial radius both were compared at. score : mean correlation of the matched. See Registration.
    """

    sites: int
    matched: int
    spread: float
    score: float
    scale: float

    @property
    def share(self) -> float:
        """Share of places at which the two dials matched."""
        return self.matched / self.sites if self.sites else 0.0


def laid_of(found: Registration) -> Laid:
    """The numbers of a registration."""
    score = float(found.score[found.matched].mean()) if found.matched.any() else 0.0
    return Laid(len(found.sites), int(found.matched.sum()), found.spread, score, found.scale)


def features(laid: Laid) -> tuple[float, ...]:
    """What the model reads; see FEATURES."""
    spread = max(laid.spread, 1e-5)
    share = min(max(laid.share, 0.02), 0.98)
    return (
        math.log(spread),
        math.log(max(spread * laid.scale, 0.01)),
        math.log(laid.scale),
        math.log(share / (1 - share)),
        laid.score,
    )


def noise_floor(scale: float) -> float:
    """SD per axis, dial radii, of a match between two photographs of one print: about 0.12 px (measured on renders)."""
    return 0.12 / scale


def judge_pair(
    found: Registration | Laid | None, model: PlateModel | None = None, *, part: bool = False, back: float = 1.0,
    lost: str = "",
) -> PlateVerdict:  # fmt: skip
    """The finding for two dials laid on each other; None where too little could be compared.

    part : only a part of the dial is seen on both; that can show that two were drawn separately, not that one plate
    fits both. back : share of the second dial's places found on the first: what little a plain dial has, hours at
    twelve places and ticks, is found on many a dial that has more. lost : what of one dial is not found on the other,
    as a clause.
    """
    model = model or shipped_model()
    nan = float("nan")
    if found is None:
        where = "in what both photographs show" if part else "on the first dial"
        why = f"Fewer than {LEAST_SITES} places {where} can be compared."
        return PlateVerdict(CANNOT_TELL, why, None, False, 0, 0, nan, nan)
    laid = found if isinstance(found, Laid) else laid_of(found)
    noise = noise_floor(laid.scale)

    def verdict(finding: str, why: str, ratio: float | None = None, capped: bool = False) -> PlateVerdict:
        return PlateVerdict(finding, why, ratio, capped, laid.sites, laid.matched, laid.spread, noise)

    where = f"{laid.matched} of {laid.sites} places on the first dial were found on the second"
    if part and laid.share < model.alike:
        return verdict(CANNOT_TELL, f"Only {where}: they may show different parts of the dial, or different designs.")
    if laid.share <= model.unlike:
        return verdict(DIFFERENT, f"Only {where}.")
    if laid.matched < LEAST_SITES or laid.share < model.alike:
        return verdict(CANNOT_TELL, f"{where}: too few to say that the design is the same, too many to say it is not.")
    if back < model.alike:
        why = f"{where}, but only {back:.0%} of those on the second on the first"
        if back <= model.unlike:
            return verdict(DIFFERENT, f"{why}: what the two share is what many dials have.")
        return verdict(CANNOT_TELL, f"{why}: too few to say that the design is the same.")
    if lost:
        return verdict(
            CANNOT_TELL, f"{where}, but {lost}: the designs differ there, or one photograph does not show it."
        )
    if laid.scale < model.coarsest:
        why = f"The photographs resolve {laid.scale:.0f} px per dial radius; {model.coarsest:.0f} are needed."
        return verdict(CANNOT_TELL, why)
    raw = model.offset + sum(w * (x - m) for w, x, m in zip(model.weights, features(laid), model.middle, strict=True))
    ratio = raw / math.log(10)
    held = min(max(ratio, model.low), min(model.high, PART_HIGH) if part else model.high)
    left = f"{where}, and they stray by {laid.spread * laid.scale:.2f} px each way after a smooth bend"
    if part and ratio >= threshold():
        why = f"{left}: no more than two photographs of one print do, but a part alone is not enough to say so."
        return verdict(CANNOT_TELL, why, held, held != ratio)
    if abs(held) < threshold():
        return verdict(CANNOT_TELL, f"{left}: that fits both.", held, held != ratio)
    if held > 0:
        return verdict(ONE_PLATE, f"{left}: no more than two photographs of one print do.", held, held != ratio)
    return verdict(SEPARATE, f"{left}: more than one plate would leave.", held, held != ratio)


def asks_back(found: Registration | None, model: PlateModel | None = None) -> bool:
    """Whether so much of the first dial was found on the second that the reverse is to be asked."""
    return found is not None and found.share >= (model or shipped_model()).alike


@cache
def shipped_model() -> PlateModel:
    """The model that comes with dialtell; WeightsError when its file is damaged."""
    place = importlib.resources.files(__package__).joinpath(FILE)
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
