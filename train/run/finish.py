"""From a finished run to weights that may be used: calibrate, measure, write safetensors, JSON and card."""

from __future__ import annotations

import logging
import re
from collections.abc import Mapping, Sequence
from concurrent.futures import Future
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import torch
from safetensors import safe_open
from torch import nn

from dialtell.model.net.calibration import Calibration
from dialtell.model.net.net import StrokeNet
from dialtell.model.net.weights_file import save_weights
from dialtell.synth.scene import RENDERER_VERSION, Range
from dialtell.synth.shared.errors import ParameterError, WeightsError, said_in_words
from dialtell.synth.shared.record import to_record
from dialtell.train.bags.bags import Bag
from dialtell.train.bags.supply import BEYOND_SEED, CALIBRATION_SEED, FIGURES_SEED, Supply, collect_singles
from dialtell.train.run.calibrate import Floats, called_printed, figures, fit_calibration, gather_logits
from dialtell.train.run.card import write_card
from dialtell.train.run.config import TrainConfig
from dialtell.train.run.gate import drawn_traits, note_familiar
from dialtell.train.run.holdout import calibrating
from dialtell.train.run.loop import Trainer, evaluate_bags, versions

log = logging.getLogger("dialtell.train")

CALIBRATED_ON = (
    "drawn dials of families that training had none of, each in two sets alike in number: lettered in five font "
    "families of their own, half of the finished pictures on film, by painters steadier (0.61 to 0.83 of the usual "
    "deviations) and less steady (1.20 to 1.30)"
)
TAKEN = ("last", "best", "config")  # other files of a run's folder


def checked_name(name: str) -> str:
    """A name weights may have: a plain file name that overwrites nothing else of the run; else ParameterError."""
    if not re.fullmatch(r"\w[\w.-]*", name) or name in TAKEN:
        raise ParameterError(f"name is {name!r}; give letters, digits, - and . only, and none of {', '.join(TAKEN)}")
    return name


def steadier(scope: Range) -> Range:
    """A family of dials no training of `scope` saw: letterforms held for calibration, painters steadier than any shown,
    half of the finished pictures on film, which training has none of."""
    return _between(scope, 0.71, 0.16)


def shakier(scope: Range) -> Range:
    """Likewise with painters less steady than any shown."""
    return _between(scope, 1.25, 0.039)


def _between(scope: Range, jitter: float, spread: float) -> Range:
    """jitter : 0.61 to 0.83 or 1.20 to 1.30 of a hand's deviations lie outside what training has (0.83 to 1.20) and
    short of what rung B asks (below 0.6, above 1.3)."""
    return replace(
        scope, jitter=jitter * scope.jitter, jitter_spread=spread, film=0.5, variety=calibrating(scope.variety)
    )


def held_out_sets(count: int, scope: Range) -> tuple[tuple[int, int, Range], ...]:
    """(seed, count, scope) of the families a net is calibrated on, and last of what its figures are from.

    All that calibrates is of families that training had none of, so that likelihood ratios do not promise what holds
    only where a net was shown everything.
    """
    return (
        (CALIBRATION_SEED, count, steadier(scope)),
        (BEYOND_SEED, count, shakier(scope)),
        (FIGURES_SEED, count, scope),
    )


def calibrate_on(
    orders: Sequence[list[Future[Bag | None]]], net: nn.Module, device: torch.device
) -> tuple[dict[str, Calibration], dict[str, Floats], dict[str, Any]]:
    """Calibrations of "dial", "zone" and "print" fitted on all sets of `held_out_sets` but the last, as ordered; what
    the net says of the last, see gather_logits; and what those dials look like, see gate.note_familiar."""
    logits, traits = [], []
    for bags in map(collect_singles, orders):
        outputs = evaluate_bags(net, bags, device)
        logits.append(gather_logits(outputs, bags))
        traits.append(drawn_traits(bags, device))
    *fitting, fresh = logits
    *families, last = traits
    fitted = {key: np.concatenate([one[key] for one in fitting]) for key in fresh}
    parts = ("dial", "zone", "print")
    fits = {part: fit_calibration(fitted[f"{part}_logit"], fitted[f"{part}_truth"]) for part in parts}
    return fits, fresh, note_familiar(families, last)


def order_held_out(supply: Supply, config: TrainConfig) -> None:
    """Have the sets of `finish` rendered, by a supply that keeps them, while the last epochs train."""
    for order in held_out_sets(config.calibration, config.scope):
        supply.order_singles(*order)


def finish(trainer: Trainer, supply: Supply, *, name: str, version: str, command: str) -> Path:
    """Calibrate the best checkpoint's averaged net on held-out families and measure it on a set of fresh dials.

    name : of the weights, see checked_name. command : that made them, for the card. Returns the weights' path.
    """
    net = trainer.average
    if not isinstance(net, StrokeNet):
        raise ParameterError(f"net is a {type(net).__name__}; only a StrokeNet makes weights that score photographs")
    record, fresh = calibrated(trainer, supply, name=name, version=version, command=command)
    target = trainer.folder / f"{checked_name(name)}.safetensors"
    logits = {f"fresh_{part}": values for part, values in fresh.items()}
    with said_in_words(trainer.folder):
        save_weights(target, net.cpu(), record)
        write_card(trainer.folder / "MODEL_CARD.md", record)
        np.savez(trainer.folder / "held_out_logits.npz", allow_pickle=False, **logits)
    log.info("wrote %s", target)
    return target


def calibrated(
    trainer: Trainer, supply: Supply, *, name: str, version: str, command: str
) -> tuple[dict[str, Any], dict[str, Floats]]:
    """The record that goes with weights: how they were trained, their calibration and gate, their figures.

    The best checkpoint is loaded into `trainer.average`. Also returns what it says of the set the figures are from, see
    gather_logits. Raises WeightsError where there is no checkpoint.
    """
    config, best = trainer.config, trainer.folder / "best.safetensors"
    if not best.is_file():
        raise WeightsError(f"{best}: no such file, the validation loss was never a number; train with a lower rate")
    with safe_open(best, framework="pt") as file:
        reached = {name: int(file.metadata()[name]) for name in ("epoch", "step")}
        kept = [key for key in file.keys() if key.startswith("average.")]
        trainer.average.load_state_dict({key.removeprefix("average."): file.get_tensor(key) for key in kept})
    orders = [supply.order_singles(*order) for order in held_out_sets(config.calibration, config.scope)]
    calibrations, fresh, gate = calibrate_on(orders, trainer.average, trainer.device)
    record = {
        "name": name,
        "version": version,
        "renderer_version": RENDERER_VERSION,
        "training": {
            "config": to_record(config),
            "versions": versions(),
            "pictures": reached["epoch"] * config.pairs * 2,
            "steps": reached["step"],
            "epoch": reached["epoch"],  # the best checkpoint's, of those there were
            "epochs": trainer.epoch,
            "device": str(trainer.device),
            "command": command,
        },
        "calibration": {part: to_record(fit) for part, fit in calibrations.items()},
        "calibrated_on": CALIBRATED_ON,
        **gate,
        "figures": held_out_figures(fresh, calibrations),
    }
    return record, fresh


def held_out_figures(fresh: Mapping[str, Floats], calibrations: Mapping[str, Calibration]) -> dict[str, Any]:
    """Figures on a held-out set (see gather_logits): dials, zones, and the process of print, the last also of those
    dials alone that are called printed and hence get one."""
    rows: dict[str, Any] = {
        part: figures(fresh[f"{part}_logit"], fresh[f"{part}_truth"], fresh[f"{part}_resolution"], calibration)
        for part, calibration in calibrations.items()
    }
    called = called_printed(fresh["print_dial_logit"], fresh["print_resolution"], calibrations["dial"])
    logit, truth, resolution = (fresh[f"print_{name}"][called] for name in ("logit", "truth", "resolution"))
    whole = figures(logit, truth, resolution, calibrations["print"])[0]
    return rows | {"print_called": [{**whole, "resolution": "called printed"}]}
