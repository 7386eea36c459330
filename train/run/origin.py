"""Beginning a run with trained weights instead of from nothing."""

from __future__ import annotations

import logging
from dataclasses import replace

from dialtell.model.net.weights_file import Weights
from dialtell.train.run.config import Origin, TrainConfig

log = logging.getLogger("dialtell.train")

# a trained net needs no easy start, and the full rate would undo much of what it knows (judgement)
GENTLER = 0.3


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
