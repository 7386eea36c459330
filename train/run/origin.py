"""Beginning a run with trained weights instead of from nothing."""

from __future__ import annotations

import logging
from dataclasses import replace
from pathlib import Path

from dialtell.model.net.net import StrokeNet
from dialtell.model.net.weights_file import SCHEMA, Weights
from dialtell.model.weights.modules import fill
from dialtell.model.weights.numbers import read_numbers
from dialtell.train.run.config import Origin, TrainConfig

log = logging.getLogger("dialtell.train")

# a trained net needs no easy start, and the full rate would undo much of what it knows (judgement)
GENTLER = 0.3
_NAMED = {"name", "version", "renderer_version"}


def begin_with(config: TrainConfig, weights: Weights) -> TrainConfig:
    """The config of a run that goes on from `weights`: its net is theirs, its rate lower, its pictures the whole scope
    from the first, and it says where it came from."""
    if weights.net.config != config.net:
        log.info("net %s as in the weights, not %s as in the preset", weights.net.config.widths, config.net.widths)
    return replace(
        config,
        net=weights.net.config,
        rate=GENTLER * config.rate,
        easy=0.0,
        start=None,
        start_share=0.0,
        widen_share=0.0,
        origin=origin_of(weights),
    )


def origin_of(weights: Weights) -> Origin:
    """What is noted of the weights begun with."""
    return Origin(**weights.identity, renderer_version=str(weights.record["renderer_version"]))


def file_origin(path: Path, *, whole: bool) -> Origin:
    """What is noted of weights that `fill_from` begins with; raises WeightsError as that does."""
    _, record, digest = read_numbers(path, SCHEMA, _NAMED)
    said = str(record["name"]) if whole else f"{record['name']} (the encoder alone)"
    return Origin(said, str(record["version"]), digest, renderer_version=str(record["renderer_version"]))


def fill_from(net: StrokeNet, path: Path, *, whole: bool) -> None:
    """Give `net` the numbers of weights that may be for another preprocessing; unless `whole` those of their encoder
    alone, the other parts of which may be of another net.

    Raises WeightsError naming the file if it cannot be read or what is taken is of another size.
    """
    tensors, _, _ = read_numbers(path, SCHEMA, _NAMED)
    if whole:
        return fill(net, tensors, path)
    own = {name.removeprefix("encoder."): value for name, value in tensors.items() if name.startswith("encoder.")}
    return fill(net.encoder, own, path)
