"""Weights on disk: NAME.safetensors with the numbers and NAME.json with everything needed to use them honestly.

The JSON carries the net's size, the preprocessing it expects, the renderer that drew its training dials, the
training configuration, the calibration and the figures measured. Loading checks all of it, and the sha256 of the
numbers, before a number is used. No pickle.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from dialtell.model.net.calibration import Calibration
from dialtell.model.net.device import kind_of_device
from dialtell.model.net.familiar import Familiar, familiar_from
from dialtell.model.net.in_onnx import InOnnx
from dialtell.model.net.net_config import NetConfig
from dialtell.model.net.preprocessing import difference, preprocessing
from dialtell.model.net.said import Asked
from dialtell.model.reader.file import BESIDE, Reader, load_reader
from dialtell.model.weights.graphs import graphs_for
from dialtell.model.weights.numbers import Numbers, read_numbers, write_numbers
from dialtell.synth.shared.errors import WeightsError

if TYPE_CHECKING:
    from dialtell.model.net.net import StrokeNet

SCHEMA = "dialtell.weights/1"
SHIPPED = Path(__file__).parents[1] / "weights" / "strokes.safetensors"


@dataclass(frozen=True, eq=False)
class Weights:
    """A net ready to score, and what is known about it.

    asks : the net, asked by ONNX Runtime or by torch.
    zone_calibration and dial_calibration turn logits into likelihood ratios; so does print_calibration for the process
    of print, None where the weights were never calibrated for it. record : the whole JSON. reader : the net that reads
    photographs for this one, of the file reader.safetensors beside it, else the shipped one. familiar : what drawn
    dials look like, None where that was never noted and every dial counts as familiar.
    """

    asks: Asked
    name: str
    version: str
    sha256: str
    dial_calibration: Calibration
    zone_calibration: Calibration
    record: Mapping[str, Any]
    reader: Reader
    print_calibration: Calibration | None = None
    familiar: Familiar | None = None

    @property
    def net(self) -> StrokeNet:
        """The net in torch, which training and measuring ask in batches."""
        return self.asks.net

    @property
    def identity(self) -> dict[str, str]:
        """What names these weights in a result."""
        return {"name": self.name, "version": self.version, "sha256": self.sha256}


def save_weights(path: Path, net: StrokeNet, record: Mapping[str, Any]) -> str:
    """Write both files beside each other, each whole or not at all; returns the sha256 of the numbers.

    record must hold name, version, renderer_version, training, calibration ({"dial": .., "zone": .., "print": ..}, the
    last if there is one) and figures; familiar where it is known.
    """
    from dialtell.model.weights.modules import numbers_of

    about = {"architecture": net.config.record(), "preprocessing": preprocessing()}
    whole = {"schema": SCHEMA, **record, **about}
    return write_numbers(path, numbers_of(net), whole)


def find_weights(place: str) -> Path:
    """The .safetensors file meant by a path to it, by a folder that holds one with its .json, or by the word "shipped".

    Raises WeightsError naming the place and the remedy; the file itself is checked by load_weights.
    """
    if place == "shipped":
        return SHIPPED
    path = Path(place)
    if not path.is_dir():
        if path.suffix != ".safetensors":
            raise WeightsError(f"{place}: give a .safetensors file, a folder with one in it, or the word shipped")
        return path
    beside = [file for file in sorted(path.glob("*.safetensors")) if file.with_suffix(".json").is_file()]
    found = [file for file in beside if file.name != BESIDE]
    if len(found) == 1:
        return found[0]
    if not found:
        raise WeightsError(f"{place}: no .safetensors file with its .json beside it in this folder; give another")
    raise WeightsError(f"{place}: holds {', '.join(file.name for file in found)}; give one of these files")


def load_weights(path: Path | None = None, device: str = "cpu", *, lighter: bool = True) -> Weights:
    """Load weights (the shipped ones for None). device : where both nets run; auto, cpu, cuda or mps.

    A net of the shipped one's size is asked by ONNX Runtime on a processor, any other by torch; GPUs are torch's. Calls
    are the same. lighter : False for torch on a processor too. Raises WeightsError naming file and remedy,
    ParameterError where there is no such device.
    """
    path, device = path or SHIPPED, kind_of_device(device)
    needed = {"name", "version", "architecture", "preprocessing", "calibration", "renderer_version"}
    numbers, record, digest = read_numbers(path, SCHEMA, needed)
    config = _config(path, record)
    if apart := difference(record["preprocessing"]):
        raise WeightsError(
            f"{path.with_suffix('.json')}: made for another preprocessing ({apart}); train again with this version"
        )
    asks = _asked(config, numbers, path, device, lighter)
    calibration = record["calibration"]
    return Weights(
        asks=asks,
        name=str(record["name"]),
        version=str(record["version"]),
        sha256=digest,
        dial_calibration=_calibration(path, calibration, "dial"),
        zone_calibration=_calibration(path, calibration, "zone"),
        record=record,
        print_calibration=_calibration(path, calibration, "print") if "print" in calibration else None,
        familiar=_familiar(path, record) if "familiar" in record else None,
        reader=load_reader(path.with_name(BESIDE) if path.with_name(BESIDE).is_file() else None, device, lighter),
    )


def _asked(config: NetConfig, numbers: Numbers, path: Path, device: str, lighter: bool) -> Asked:
    """The net with its numbers, asked by the runtime that suits the device."""

    def in_torch() -> StrokeNet:
        from dialtell.model.net.net import StrokeNet
        from dialtell.model.weights.modules import filled

        return filled(lambda: StrokeNet(config), numbers, path)

    graphs = graphs_for("strokes", config.record(), numbers, path) if lighter and device == "cpu" else None
    if graphs is not None:
        return InOnnx(graphs, config, in_torch)
    from dialtell.model.net.in_torch import InTorch, on_device

    return InTorch(on_device(in_torch(), device))


def _config(path: Path, record: Mapping[str, Any]) -> NetConfig:
    size = record["architecture"]
    if isinstance(size, dict) and ("additive" in size or "pairs" not in size):  # as the nets before this one say
        raise WeightsError(f"{path}: of an older net; take the weights that come with this version, or train anew")
    try:
        widths = tuple(int(w) for w in size["widths"])
        numbers = {name: int(size[name]) for name in ("code", "beside", "pairs")}
        config = NetConfig(**{**size, **numbers, "widths": widths})
    except (TypeError, KeyError, ValueError, OverflowError) as error:
        raise WeightsError(
            f"{path}: its .json describes no net of this version ({error}); copy it again or train again"
        ) from None
    sound = len(config.widths) == 4 and all(1 <= w <= 1024 for w in config.widths)
    if not (sound and 1 <= config.code <= 2048 and 1 <= config.beside <= 1024 and 0 <= config.pairs <= 64):
        raise WeightsError(f"{path}: its .json describes a net of absurd size {config}; copy it again or train again")
    return config


def _familiar(path: Path, record: Mapping[str, Any]) -> Familiar:
    try:
        return familiar_from(record["familiar"])
    except (TypeError, KeyError, ValueError, OverflowError) as error:
        raise WeightsError(
            f"{path}: its .json does not say what drawn dials look like ({error}); copy it again or train again"
        ) from None


def _calibration(path: Path, record: Any, part: str) -> Calibration:
    try:
        entry = dict(record[part])
        entry["bounds"] = tuple((float(a), float(b)) for a, b in entry.get("bounds", ()))
        if not all(math.isfinite(limit) and 0 <= factor <= 1 for limit, factor in entry["bounds"]):
            raise ValueError("bounds that are no factors of 0 to 1")
        return Calibration(**entry)
    except (TypeError, KeyError, ValueError, OverflowError) as error:
        raise WeightsError(
            f"{path}: its .json carries no usable {part} calibration ({error}); copy it again or train again"
        ) from None
