"""`dialtell train --photos`: from a table of labels to weights adapted to the user's own photographs.

Measured before and after on the same drawn dials and on the photographs held out, so that what was won and what was
lost stand side by side.
"""

from __future__ import annotations

import hashlib
import json
import logging
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import torch
from numpy.typing import NDArray

from dialtell.model.net.calibration import Calibration
from dialtell.model.net.net import StrokeNet
from dialtell.model.net.weights_file import Weights, save_weights
from dialtell.model.reader.file import Reader
from dialtell.synth.scene import RENDERER_VERSION, Range
from dialtell.synth.shared.errors import OutputError, said_in_words
from dialtell.synth.shared.files import write_whole
from dialtell.synth.shared.record import to_record
from dialtell.synth.shared.tables import rows_text
from dialtell.train.bags.supply import (
    VALIDATION_SEED,
    Supply,
    collect_singles,
    collect_twins,
)
from dialtell.train.photographs.adapt import AdaptConfig, Look, adapt
from dialtell.train.photographs.labels import read_labels
from dialtell.train.photographs.photo_bags import PhotoBag, PhotoSplit, count_dials, read_bags, split_by_dial
from dialtell.train.run.calibrate import Floats, gather_logits
from dialtell.train.run.card import write_card
from dialtell.train.run.finish import CALIBRATED_ON, calibrate_on, held_out_figures, held_out_sets
from dialtell.train.run.loop import evaluate_bags, versions
from dialtell.train.run.origin import origin_of
from dialtell.train.stats.call_figures import call_figures, called_by_ratio

log = logging.getLogger("dialtell.train")

TWINS_SEED = 900_001  # of the drawn twins in the batches: pictures few runs have trained on


def read_split(labels: Path, *, seed: int, reader: Reader | None = None) -> PhotoSplit:
    """Read a table of labels and its photographs, split by dial. Raises LabelsError and ParameterError, naming rows.

    reader : None for the shipped one.
    """
    bags, unread = read_bags(read_labels(labels), seed=seed, reader=reader)
    for line in unread:
        log.warning("left out: %s", line)
    return split_by_dial(bags, seed=seed, unread=unread)


def adapt_to_photographs(
    labels: Path,
    weights: Weights,
    folder: Path,
    supply: Supply,
    *,
    config: AdaptConfig,
    scope: Range,
    calibration: int,
    device: torch.device,
    name: str,
    version: str,
    command: str,
) -> Path:
    """Adapt `weights`; writes NAME.safetensors, NAME.json, MODEL_CARD.md, looks.csv and photographs.csv into `folder`.

    scope : of the drawn dials. calibration : how many are drawn to measure on, twice as many to calibrate on.
    Returns the weights' path.
    """
    if (folder / "config.json").exists():
        raise OutputError(f"{folder} holds a run already; give another --out")
    split = read_split(labels, seed=config.seed, reader=weights.reader)
    origin = origin_of(weights)
    about = {"config": {**to_record(config), "origin": to_record(origin)}, "renderer_version": RENDERER_VERSION,
             "labels_sha256": _digest(labels), "versions": versions()}  # fmt: skip
    with said_in_words(folder):
        folder.mkdir(parents=True, exist_ok=True)
        write_whole(folder / "config.json", json.dumps(about, indent=1).encode(), overwrite=True)
        _write_split(folder / "photographs.csv", split)
    watched_order = supply.order_singles(VALIDATION_SEED, config.watched, scope)
    twins_order = supply.order_twins(TWINS_SEED, 0, config.pairs, scope)
    set_orders = [supply.order_singles(*order) for order in held_out_sets(calibration, scope)]
    learnt, held_out = ([item.bag for item in part] for part in (split.learnt, split.held_out))
    net, looks = adapt(
        weights.net, learnt, held_out, list(collect_twins(twins_order)), collect_singles(watched_order), config, device
    )
    _write_looks(folder / "looks.csv", looks)
    after, fresh, gate = calibrate_on(set_orders, net, device)
    before = {"dial": weights.dial_calibration, "zone": weights.zone_calibration}
    before["print"] = weights.print_calibration or Calibration(0.0)
    old = weights.net.to(device)
    bags = collect_singles(set_orders[-1])
    drawn_after = held_out_figures(fresh, after)
    drawn_before = held_out_figures(gather_logits(evaluate_bags(old, bags, device), bags), before)
    kept = next(look for look in reversed(looks) if look.kept)
    record = {
        "name": name,
        "version": version,
        "renderer_version": RENDERER_VERSION,
        "training": {
            "config": about["config"],
            "versions": versions(),
            "pictures": 2 * config.pairs,
            "steps": kept.step,
            "device": str(device),
            "command": command,
            "photographs": {
                "labels_sha256": about["labels_sha256"],
                "learnt": count_dials(split.learnt),
                "held_out": count_dials(split.held_out),
                "left_out": len(split.unread),
            },
        },
        "calibration": {part: to_record(fit) for part, fit in after.items()},
        "calibrated_on": CALIBRATED_ON,
        **gate,
        "figures": drawn_after
        | {
            "adaptation": {
                "drawn": {"before": drawn_before["dial"][0], "after": drawn_after["dial"][0]},
                "photographs": {
                    "before": photo_figures(old, split.held_out, before["dial"], device),
                    "after": photo_figures(net, split.held_out, after["dial"], device),
                },
            }
        },
    }
    target = folder / f"{name}.safetensors"
    with said_in_words(folder):
        save_weights(target, net.cpu(), record)
        write_card(folder / "MODEL_CARD.md", record)
    log.info("wrote %s", target)
    return target


def photo_figures(
    net: StrokeNet, photos: Sequence[PhotoBag], calibration: Calibration, device: torch.device
) -> dict[str, Any]:
    """Figures by dial on photographs of painted and printed dials, a dial's ratio being the mean over its photographs.

    Calls rest on the ratio alone: none is withheld for want of resolution.
    """
    known = [item for item in photos if item.bag.dial >= 0]
    logits = [float(output.dial[0]) for output in evaluate_bags(net, [item.bag for item in known], device, size=1)]
    ratios: dict[str, list[float]] = {}
    truth: dict[str, int] = {}
    for item, logit in zip(known, logits, strict=True):
        ratios.setdefault(item.dial, []).append(calibration.log10_lr(logit, item.bag.resolution)[0])
        truth[item.dial] = item.bag.dial
    hand = np.array([truth[dial] for dial in ratios]) == 1
    return ratio_figures(hand, np.array([np.mean(values) for values in ratios.values()])) | {"photographs": len(known)}


def ratio_figures(hand: NDArray[np.bool_], ratio: Floats) -> dict[str, Any]:
    """n of each side, calls right, wrong and not made, AUC, and the cost of the ratios; None where one side lacks."""
    found = call_figures(called_by_ratio(hand, ratio))
    right = found.accuracy and found.accuracy.interval
    return {
        "painted": found.painted,
        "printed": found.n - found.painted,
        "right": found.right,
        "wrong": found.decided - found.right,
        "undetermined": found.n - found.decided,
        "right_of_decided_95": right and [round(value, 3) for value in right],
        "auc": found.auc and round(found.auc.value, 4),
        "cllr": found.cllr and round(found.cllr.value, 4),
    }


def _digest(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def _write_split(path: Path, split: PhotoSplit) -> None:
    """Which photograph was used how. It stays with the user: the weights carry counts only, no names. `dialtell
    benchmark` reads it, so as not to measure weights on what they were adapted to."""
    rows: list[tuple[object, ...]] = [("row", "photo", "sha256", "source", "dial", "dial_process", "patches", "used")]
    for used, part in (("learnt", split.learnt), ("held out", split.held_out)):
        for item in part:
            photo = item.photo
            about = (photo.row, photo.name, photo.sha256, photo.source, photo.dial, photo.dial_process)
            rows.append((*about, len(item.bag.zone), used))
    rows += [("", line, "", "", "", "", "", "left out") for line in split.unread]
    write_whole(path, rows_text(rows).encode(), overwrite=True)


def _write_looks(path: Path, looks: Sequence[Look]) -> None:
    rows = [(look.step, f"{look.photos:.4f}", f"{look.drawn:.4f}", int(look.kept)) for look in looks]
    head = ("step", "held_out_photographs_loss", "drawn_loss", "best_so_far")
    write_whole(path, rows_text([head, *rows]).encode(), overwrite=True)
