"""The reader on disk: reader.safetensors with the numbers and reader.json with what is known about it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from copy import deepcopy
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any

import torch
from torch import nn
from torch.nn.utils.fusion import fuse_conv_bn_eval

from dialtell.model.reader.net import SIDE, SQUARE, ReaderConfig, ReaderNet
from dialtell.model.weights.numbers import fill, read_numbers, write_numbers
from dialtell.synth.shared.errors import WeightsError
from dialtell.synth.shared.terms import MAKES, SEEN

SCHEMA = "dialtell.reader/1"
_CPU = torch.device("cpu")
BESIDE = "reader.safetensors"
SHIPPED = Path(__file__).parents[1] / "weights" / BESIDE
# what the numbers mean nothing without
MEANING = {"seen": list(map(str, SEEN)), "makes": list(map(str, MAKES)), "side_px": SIDE, "square_px": SQUARE}


@dataclass(frozen=True)
class Certainty:
    """How sure an answer is, 0..1, from what can be seen of it: a logistic curve fitted on drawn photographs.

    outline : weights of `outline_terms`. twelve : constant and weight of the logit of the share of probability within
    a few degrees.
    """

    outline: tuple[float, ...] = (0.0, -1.0, -0.3, 1.0, 1.0, -1.0, -20.0)
    twelve: tuple[float, float] = (0.0, 1.0)


def outline_terms(
    agreement: float, moved: float, seen: float, support: float, soft: float, ragged: float
) -> tuple[float, ...]:
    """What speaks for an outline: 1, ln of the disagreement of the two ways it is told and of how far the last look
    moved it (dial radii), the share of it in the frame, the share along which an edge was found, ln of how broad the
    border of the inside is (half-size px), and the share of its area by which it is no ellipse."""
    parted, shifted = math.log(max(agreement, 1e-3)), math.log(max(moved, 1e-3))
    return 1.0, parted, shifted, seen, support, math.log(max(soft, 0.1)), ragged


@dataclass(frozen=True, eq=False)
class Reader:
    """A net ready to read. record : the whole JSON. device : where the net runs."""

    net: nn.Module
    name: str
    version: str
    sha256: str
    certainty: Certainty
    record: Mapping[str, Any]
    device: torch.device = _CPU

    def on(self, device: torch.device) -> Reader:
        """The same reader with its net on another device; itself where it is there already."""
        return self if device == self.device else replace(self, net=deepcopy(self.net).to(device), device=device)

    @property
    def identity(self) -> dict[str, str]:
        """What names this reader in a result."""
        return {"name": self.name, "version": self.version, "sha256": self.sha256}


def save_reader(path: Path, net: ReaderNet, record: Mapping[str, Any]) -> str:
    """Write both files; the sha256 of the numbers. record must hold name, version, renderer_version, training,
    certainty and figures."""
    architecture = {"widths": list(net.config.widths), "turn": net.config.turn}
    digest = write_numbers(path, net, {"schema": SCHEMA, **record, "architecture": architecture, "meaning": MEANING})
    load_reader.cache_clear()  # what was loaded from there before is another reader
    return digest


@cache
def load_reader(path: Path = SHIPPED) -> Reader:
    """Load a reader, once. Raises WeightsError naming file and remedy."""
    needed = {"name", "version", "architecture", "meaning", "certainty", "renderer_version"}
    tensors, record, digest = read_numbers(path, SCHEMA, needed)
    if record["meaning"] != MEANING:
        raise WeightsError(f"{path}: made for other names or sizes than this version's; train again")
    try:
        widths = tuple(int(width) for width in record["architecture"]["widths"])
        config = ReaderConfig(widths, int(record["architecture"]["turn"]))  # type: ignore[arg-type]
        outline, twelve = (tuple(float(v) for v in record["certainty"][name]) for name in ("outline", "twelve"))
    except (TypeError, KeyError, ValueError, OverflowError) as error:
        raise WeightsError(f"{path}: its .json describes no reader of this version ({error}); copy it again") from None
    if (
        len(widths) != 5
        or not all(1 <= w <= 1024 for w in (*widths, config.turn))
        or (len(outline), len(twelve)) != (7, 2)
        or not all(map(math.isfinite, (*outline, *twelve)))
    ):
        raise WeightsError(f"{path}: its .json describes a reader of absurd size; copy it again or train again")
    net = ReaderNet(config)
    fill(net, tensors, path)
    certainty = Certainty(outline, twelve)  # type: ignore[arg-type]
    quick = folded(net).to(memory_format=torch.channels_last)
    return Reader(quick, str(record["name"]), str(record["version"]), digest, certainty, record)


def folded(net: nn.Module) -> nn.Module:
    """The same net with every normalisation put into the convolution before it, which is faster and as exact."""
    for module in net.modules():
        if isinstance(module, nn.Sequential):
            for index in range(len(module) - 1):
                first, second = module[index], module[index + 1]
                if isinstance(first, nn.Conv2d) and isinstance(second, nn.BatchNorm2d):
                    module[index], module[index + 1] = fuse_conv_bn_eval(first, second), nn.Identity()
            continue
        conv, norm = getattr(module, "conv", None), getattr(module, "norm", None)
        if isinstance(conv, nn.Conv2d) and isinstance(norm, nn.BatchNorm2d):
            module.conv, module.norm = fuse_conv_bn_eval(conv, norm), nn.Identity()
    return net
