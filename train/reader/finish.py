"""From a finished run to a reader that may be used: how sure its answers are, how good, its card."""

from __future__ import annotations

import logging
import math
import os
from collections.abc import Sequence
from copy import deepcopy
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import torch
from numpy.typing import NDArray
from scipy.optimize import minimize

from dialtell.model.reader.file import BESIDE, Certainty, Reader, load_reader, save_reader
from dialtell.model.reading.ellipse import Ellipse
from dialtell.model.reading.outline import NoDial, apart, find_outline, share_in_frame
from dialtell.model.reading.photo import Photo
from dialtell.model.reading.twelve import find_twelve
from dialtell.synth.faces.subject import draw_subject, sample_subject
from dialtell.synth.scene import RENDERER_VERSION
from dialtell.synth.settings.compose import Example, compose
from dialtell.synth.settings.setting import Look, sample_setting
from dialtell.synth.shared.errors import said_in_words
from dialtell.synth.shared.files import write_whole
from dialtell.synth.shared.record import to_record
from dialtell.synth.shared.terms import Make
from dialtell.synth.shared.workers import in_order
from dialtell.train.reader.config import FIGURES_SEED
from dialtell.train.reader.loop import ReaderTrainer
from dialtell.train.run.loop import versions
from dialtell.train.stats.proportion import wilson

log = logging.getLogger("dialtell.train")

CARD = "READER_CARD.md"
LONGEST = 1000  # px, longer side of the photographs the figures are from
WHOLE = 0.6  # share of the outline in the frame from which a dial counts as one to be found
WITHOUT = 0.2  # share of them without a dial
RIGHT_OUTLINE, RIGHT_TWELVE = 0.02, math.radians(3.0)


class Told(NamedTuple):
    """What the reader says of one drawn photograph beside the truth.

    dial : whether there is one. found : whether it said so. shown : share of its true outline in the frame. off : dial
    radii, of the outline; terms : see outline.Found. turned : radians between 12 o'clock as told and as it is; share :
    of probability about it. enamel : probability of fired enamel; make : the true one.
    """

    dial: bool
    found: bool
    shown: float = math.nan
    off: float = math.nan
    terms: tuple[float, ...] = ()
    turned: float = math.nan
    share: float = math.nan
    enamel: float = math.nan
    make: str = Make.NONE


def photograph_of(seed: int, index: int, side: int = LONGEST) -> Example:
    """A drawn photograph of a whole dial in its setting, or of none."""
    rng = np.random.default_rng([seed, index, 99])
    dial = bool(rng.random() >= WITHOUT)
    subject = sample_subject(rng=rng, seed=seed, index=index)
    setting = sample_setting(rng=rng, look=Look.SCENE, dial=dial, side=side)
    return compose(setting, draw_subject(subject) if dial else None, subject.make if dial else Make.NONE)


def told_of(example: Example, reader: Reader) -> Told:
    """Ask the reader."""
    found = find_outline(Photo(Path("drawn"), example.picture, example.picture.shape[1::-1]), reader)
    dial = example.outline is not None
    if example.outline is None:
        return Told(False, False) if isinstance(found, NoDial) else Told(False, True, 0.0, 1.0, found.terms)
    true = Ellipse(example.outline.center_px, example.outline.axes_px, example.outline.angle_rad)
    shown = share_in_frame(true, example.picture.shape)
    if isinstance(found, NoDial):
        return Told(dial, False, shown, make=example.make)
    geometry = found.geometry
    off = apart(true, Ellipse(geometry.center_px, geometry.axes_px, geometry.angle))
    twelve = find_twelve(found.look, reader, anyhow=True)
    turned = abs(math.atan2(math.sin(twelve.radians - example.twelve), math.cos(twelve.radians - example.twelve)))
    return Told(
        True, True, shown, off, found.terms, turned, twelve.certainty, found.look.make[Make.ENAMEL],
        example.make,
    )  # fmt: skip


def fit_certainty(told: Sequence[Told]) -> Certainty:
    """How sure an answer is, by what can be seen of it, on photographs whose truth is known. The reader's own
    certainty must have been the plain one (Certainty()) when they were read."""
    found = [one for one in told if one.found]
    right = np.array([one.dial and one.off < RIGHT_OUTLINE for one in found], dtype=np.float64)
    terms = np.array([one.terms for one in found])
    outline = _logistic(terms.reshape(-1, 7), right, np.array(Certainty().outline))
    good = [one for one in found if one.dial and one.off < RIGHT_OUTLINE]
    share = np.clip([one.share for one in good], 1e-6, 1 - 1e-6)
    about = np.array([[1.0, math.log(s / (1 - s))] for s in share]).reshape(-1, 2)
    twelve = _logistic(about, np.array([one.turned < RIGHT_TWELVE for one in good], np.float64), np.array([0.0, 1.0]))
    return Certainty(tuple(outline.tolist()), tuple(twelve.tolist()))


def _logistic(
    terms: NDArray[np.float64], right: NDArray[np.float64], usual: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Weights of a logistic curve, drawn towards `usual` as by a few photographs, so that few or all-right ones do not
    promise the world."""
    if len(right) == 0:
        return usual

    def loss(weights: NDArray[np.float64]) -> float:
        logit = terms @ weights
        return float(np.logaddexp(0.0, logit).sum() - (right * logit).sum() + 0.5 * ((weights - usual) ** 2).sum())

    return np.asarray(minimize(loss, usual, method="BFGS").x)


def figures_of(told: Sequence[Told]) -> dict[str, Any]:
    """Counts with their n and 95 % intervals (Wilson)."""
    dials = [one for one in told if one.dial and one.shown >= WHOLE]
    without = [one for one in told if not one.dial]
    found = [one for one in dials if one.found]
    within = [one for one in found if one.off < RIGHT_OUTLINE]
    enamel = [one for one in found if one.make == Make.ENAMEL]
    other = [one for one in found if one.make != Make.ENAMEL]
    rows = {
        "dials found": (len(found), len(dials)),
        "outline within 2 % of the radius, of found": (len(within), len(found)),
        "outline within 1 %, of found": (sum(one.off < 0.01 for one in found), len(found)),
        "12 within 3 degrees, of those within 2 %": (sum(one.turned < RIGHT_TWELVE for one in within), len(within)),
        "pictures without a dial, none found": (sum(not one.found for one in without), len(without)),
        "enamel taken for another make (0.8 or surer)": (sum(one.enamel < 0.2 for one in enamel), len(enamel)),
        "other makes so named": (sum(one.enamel < 0.2 for one in other), len(other)),
    }
    return {
        name: {"count": count, "of": n, "interval_95": [round(v, 4) for v in wilson(count, n)] if n else None}
        for name, (count, n) in rows.items()
    }


def finish_reader(trainer: ReaderTrainer, *, name: str, version: str, command: str) -> Path:
    """Fit the certainties on one set of drawn photographs, measure on another, write reader, JSON and card."""
    target = trainer.folder / BESIDE
    plain = {
        "name": name, "version": version, "renderer_version": RENDERER_VERSION, "certainty": to_record(Certainty()),
    }  # fmt: skip
    net = deepcopy(trainer.average).cpu()
    with said_in_words(trainer.folder):
        save_reader(target, net, plain)
    count = trainer.config.figures
    workers = trainer.config.workers or len(os.sched_getaffinity(0))
    told = list(in_order(_told, [(str(target), index) for index in range(2 * count)], workers, start=_alone))
    certainty = fit_certainty(told[:count])
    record = {
        "name": name,
        "version": version,
        "renderer_version": RENDERER_VERSION,
        "training": {
            "config": to_record(trainer.config), "versions": versions(), "steps": trainer.step,
            "epochs": trainer.epoch, "dials": trainer.index, "device": str(trainer.device), "command": command,
        },
        "certainty": to_record(certainty),
        "figures": figures_of(told[count:]),
    }  # fmt: skip
    with said_in_words(trainer.folder):
        save_reader(target, net, record)
        write_whole(trainer.folder / CARD, card_text(record).encode(), overwrite=True)
    return target


def _alone() -> None:
    torch.set_num_threads(1)


def _told(job: tuple[str, int]) -> Told:
    path, index = job
    return told_of(photograph_of(FIGURES_SEED, index), load_reader(Path(path)))


def card_text(record: dict[str, Any]) -> str:
    """READER_CARD.md in Markdown."""
    training = record["training"]
    rows = [
        f"| {name} | {row['count']} | {row['of']} | "
        + ("" if row["interval_95"] is None else "{:.3f} to {:.3f}".format(*row["interval_95"]))
        + " |"
        for name, row in record["figures"].items()
    ]
    return "\n".join([
        f"# {record['name']} {record['version']}", "",
        "Sees where the dial of a watch or clock lies in a photograph, which way it is turned, and what each of its "
        "pixels shows. Licence: Apache-2.0.", "",
        "## Made from", "",
        f"Only pictures drawn by dialtell's own renderer (version {record['renderer_version']}): {training['dials']} "
        f"dials, each in {training['config']['settings']} settings, {training['steps']} steps of "
        f"{training['config']['batch']}. No photograph was used. Command: `{training['command']}`.", "",
        "## Measured on drawn photographs", "",
        "Drawn with seeds not used in training, same renderer: a smoke test, not proof for photographs. Intervals are "
        "95 % (Wilson).", "",
        "| what | count | of | interval |", "|---|---|---|---|", *rows, "",
        "## Not for", "",
        "- recognising or measuring anything but the dial before it",
        "- deciding by itself that a dial is, or is not, of enamel: where it says so no call is made, and that is all",
        "",
    ])  # fmt: skip
