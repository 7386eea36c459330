"""Two nets to compare with, on the same bags of patches and with the same outputs as StrokeNet.

LinearProbe is what simple statistics of densities and edges can tell without learning any feature. ResNetBag is a
standard picture classifier, torchvision's resnet18 from random weights, in place of StrokeNet's encoder.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any, cast

import torch
from safetensors.torch import load_file
from safetensors.torch import save as save_tensors
from torch import Tensor, nn
from torch.nn.functional import avg_pool2d, one_hot

from dialtell.model.net.calibration import Calibration
from dialtell.model.net.in_torch import InTorch
from dialtell.model.net.net import StrokeNet
from dialtell.model.net.output import NetOutput
from dialtell.model.net.weights_file import Weights
from dialtell.model.reader.file import load_reader
from dialtell.model.reading.patches import HIGH, LOW, SIDE
from dialtell.synth.shared.errors import ParameterError, WeightsError
from dialtell.synth.shared.files import write_whole
from dialtell.synth.shared.record import from_record
from dialtell.synth.shared.terms import ZONES

SCHEMA = "dialtell.baseline/1"
BASELINES = ("linear probe", "resnet18")

DENSITY_EDGES = (0.0, 0.1, 0.2, 0.3, 0.45, 0.6, 0.75, 0.9, 1.05, 1.2)  # D, full density 1
SLOPE_EDGES = (0.01, 0.02, 0.04, 0.08, 0.12, 0.18, 0.25, 0.35)  # D per px
GRID = 8  # mean densities a side


class LinearProbe(nn.Module):
    """A linear map of simple statistics of patches: their mean and spread over a zone, and over the dial.

    Statistics: shares of pixels by density and by slope, mean and SD of both, and the patch reduced to 8 x 8 px.
    """

    def __init__(self) -> None:
        super().__init__()
        self.statistics = len(DENSITY_EDGES) + len(SLOPE_EDGES) + 4 + GRID * GRID
        size = 2 * self.statistics + 3
        # each number to mean 0 and SD 1 over what was seen, nothing learnt
        self.scale_patch = nn.BatchNorm1d(self.statistics, affine=False)
        self.scale_zone = nn.BatchNorm1d(size, affine=False)
        self.scale_dial = nn.BatchNorm1d(size, affine=False)
        self.patch = nn.Linear(self.statistics, 1)
        self.zone = nn.Linear(size, len(ZONES))
        self.dial = nn.Linear(size, 2)

    def forward(self, patches: Tensor, zone: Tensor, resolution: Tensor, scale: Tensor | None = None) -> NetOutput:
        """patches : (B, N, S, S) D. zone : (B, N) index into ZONES, -1 no patch. resolution : (B,) log2.

        scale : (B, N) log2, None for 0; only patches of scale 0 are looked at.
        """
        if scale is not None:
            zone = torch.where(scale == 0, zone, -1)
        device_type = patches.device.type
        with torch.autocast(device_type, enabled=False):  # 8 bits of mantissa would blur a linear map's sums
            return self._judge(patches.float(), zone, resolution.float())

    def _judge(self, patches: Tensor, zone: Tensor, resolution: Tensor) -> NetOutput:
        real = zone >= 0
        found = torch.zeros((*zone.shape, self.statistics), device=patches.device)
        found[real] = self.scale_patch(patch_statistics(patches[real]))
        member = (one_hot(zone.clamp(min=0), len(ZONES)) * real[..., None]).float().transpose(1, 2)
        present = member.any(2)
        zones = self._pooled(found, member, resolution[:, None].expand(-1, len(ZONES)))
        whole = self._pooled(found, real[:, None].float(), resolution[:, None])[:, 0]
        scaled = torch.zeros_like(zones)
        scaled[present] = self.scale_zone(zones[present])
        zone_logit = (scaled * self.zone.weight).sum(2) + self.zone.bias
        dial = self.dial(self.scale_dial(whole))
        return NetOutput(dial[:, 0], zone_logit, self.patch(found)[..., 0], dial[:, 1], present)

    @staticmethod
    def _pooled(found: Tensor, member: Tensor, resolution: Tensor) -> Tensor:
        """(B, Z, 2 F + 3): mean and SD of the patches of each set, how many, and the resolution."""
        count = member.sum(2, keepdim=True).clamp(min=1)
        mean = member @ found / count
        spread = (member @ found.square() / count - mean.square()).clamp(min=0).add(1e-5).sqrt()
        level = resolution[..., None]
        return torch.cat([mean, spread, count.log(), level, level.square()], dim=2)


def patch_statistics(patches: Tensor) -> Tensor:
    """(P, S, S) D -> (P, F); see LinearProbe."""
    flat = patches.flatten(1)
    across, down = patches.diff(dim=2)[:, :-1], patches.diff(dim=1)[:, :, :-1]
    slope = torch.hypot(across, down).flatten(1)
    parts = [
        *((flat > edge).float().mean(1, keepdim=True) for edge in DENSITY_EDGES),
        *((slope > edge).float().mean(1, keepdim=True) for edge in SLOPE_EDGES),
        *(
            value
            for numbers in (flat, slope)
            for value in (numbers.mean(1, keepdim=True), numbers.std(1, keepdim=True))
        ),
        avg_pool2d(patches[:, None], SIDE // GRID).flatten(1),
    ]
    return torch.cat(parts, dim=1)


class ResNetEncoder(nn.Module):
    """(P, 1, S, S) optical density -> (P, code) by torchvision's resnet18, random weights, one channel in."""

    def __init__(self, code: int) -> None:
        super().__init__()
        # slow to import, and nothing else needs it
        from torchvision.models import resnet18  # type: ignore[import-untyped]

        self.body = resnet18(weights=None)
        self.body.conv1 = nn.Conv2d(1, 64, 7, stride=2, padding=3, bias=False)
        self.body.fc = nn.Linear(512, code)
        self.norm = nn.LayerNorm(code)

    def forward(self, patches: Tensor) -> Tensor:
        """(P, S, S) D -> (P, code)."""
        scaled = (patches - LOW) / (HIGH - LOW) * 2 - 0.2
        code: Tensor = self.norm(self.body(scaled))
        return code


class ResNetBag(StrokeNet):
    """StrokeNet judging codes of resnet18."""

    def __init__(self) -> None:
        super().__init__()
        self.encoder = ResNetEncoder(self.config.code)  # type: ignore[assignment]
        self.encoder.to(memory_format=torch.channels_last)


def build_baseline(kind: str) -> nn.Module:
    """A fresh baseline, its first weights from torch's generator."""
    if kind not in BASELINES:
        raise ParameterError(f"baseline is {kind!r}; give one of {', '.join(BASELINES)}")
    return LinearProbe() if kind == "linear probe" else ResNetBag()


def save_baseline(path: Path, kind: str, net: nn.Module, record: Mapping[str, Any]) -> None:
    """NAME.safetensors, and NAME.json with the record (as for save_weights) beside it."""
    tensors = {name: tensor.detach().cpu().contiguous().clone() for name, tensor in net.state_dict().items()}
    write_whole(path, save_tensors(tensors, metadata={"format": "pt"}), overwrite=True)
    described = json.dumps({"schema": SCHEMA, "kind": kind, **record}, indent=1)
    write_whole(path.with_suffix(".json"), described.encode(), overwrite=True)


def load_baseline(path: Path) -> Weights:
    """A trained baseline as weights to measure beside others; only measuring takes it, no photograph is scored."""
    described = path.with_suffix(".json")
    if not (path.is_file() and described.is_file()):
        raise WeightsError(f"{path}: no such file, or no .json beside it; give a folder that a study wrote")
    record = json.loads(described.read_text("utf-8"))
    if record.get("schema") != SCHEMA:
        raise WeightsError(f"{described}: schema is not {SCHEMA}; a study writes such files")
    net = build_baseline(record["kind"])
    net.load_state_dict(load_file(path))
    dial, zone = (from_record(Calibration, record["calibration"][part]) for part in ("dial", "zone"))
    return Weights(
        asks=InTorch(cast(StrokeNet, net.eval())),
        name=str(record["name"]),
        version=str(record["version"]),
        sha256=hashlib.sha256(path.read_bytes()).hexdigest(),
        dial_calibration=dial,
        zone_calibration=zone,
        record=record,
        reader=load_reader(),
    )
