"""Weights on disk: NAME.safetensors with the numbers and NAME.json with everything needed to use them honestly.

The JSON carries the net's size, the preprocessing it expects, the renderer that drew its training dials, the
training configuration, the calibration and the figures measured. Loading checks all of it, and the sha256 of the
numbers, before a number is used. No pickle.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import torch
from safetensors import SafetensorError
from safetensors.torch import load as load_tensors
from safetensors.torch import save as save_tensors

from dialtell.model.net.calibration import Calibration
from dialtell.model.net.net import NetConfig, StrokeNet
from dialtell.model.net.preprocessing import difference, preprocessing
from dialtell.synth.shared.errors import WeightsError
from dialtell.synth.shared.files import write_whole

SCHEMA = "dialtell.weights/1"
LARGEST_BYTES = 64 * 2**20
SHIPPED = Path(__file__).parents[1] / "weights" / "strokes.safetensors"


@dataclass(frozen=True, eq=False)
class Weights:
    """A net ready to score, and what is known about it.

    zone_calibration and dial_calibration turn logits into likelihood ratios; so does print_calibration for the process
    of print, None where the weights were never calibrated for it. record : the whole JSON.
    """

    net: StrokeNet
    name: str
    version: str
    sha256: str
    dial_calibration: Calibration
    zone_calibration: Calibration
    record: Mapping[str, Any]
    print_calibration: Calibration | None = None

    @property
    def identity(self) -> dict[str, str]:
        """What names these weights in a result."""
        return {"name": self.name, "version": self.version, "sha256": self.sha256}


def save_weights(path: Path, net: StrokeNet, record: Mapping[str, Any]) -> str:
    """Write both files beside each other, each whole or not at all; returns the sha256 of the numbers.

    record must hold name, version, renderer_version, training, calibration ({"dial": .., "zone": .., "print": ..}, the
    last if there is one) and figures.
    """
    tensors = {name: tensor.detach().cpu().contiguous().clone() for name, tensor in net.state_dict().items()}
    blob = save_tensors(tensors, metadata={"format": "pt"})
    digest = hashlib.sha256(blob).hexdigest()
    whole = {
        "schema": SCHEMA,
        **record,
        "sha256": digest,
        "architecture": net.config.record(),
        "preprocessing": preprocessing(),
    }
    path.parent.mkdir(parents=True, exist_ok=True)
    for target, data in ((path, blob), (path.with_suffix(".json"), json.dumps(whole, indent=1).encode())):
        write_whole(target, data, overwrite=True)
    return digest


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
    found = [file for file in sorted(path.glob("*.safetensors")) if file.with_suffix(".json").is_file()]
    if len(found) == 1:
        return found[0]
    if not found:
        raise WeightsError(f"{place}: no .safetensors file with its .json beside it in this folder; give another")
    raise WeightsError(f"{place}: holds {', '.join(file.name for file in found)}; give one of these files")


def load_weights(path: Path | None = None) -> Weights:
    """Load weights (the shipped ones for None). Raises WeightsError naming file and remedy."""
    path = path or SHIPPED
    described = path.with_suffix(".json")
    blob, text = _bytes_of(path), _bytes_of(described)
    record = _described(described, text)
    digest = hashlib.sha256(blob).hexdigest()
    if digest != record["sha256"]:
        raise WeightsError(
            f"{path}: sha256 {digest[:12]}.. is not the {str(record['sha256'])[:12]}.. its .json states; "
            "the file was damaged or changed, copy both again"
        )
    try:
        tensors = load_tensors(blob)
    except SafetensorError as error:
        raise WeightsError(f"{path}: not a safetensors file ({error}); copy it again") from None
    net = _built(path, record)
    for name, own in net.state_dict().items():  # loading would convert them unsaid
        if name in tensors and tensors[name].dtype != own.dtype:
            raise WeightsError(f"{path}: {name} is {tensors[name].dtype}, not {own.dtype}; copy or train it again")
    try:
        net.load_state_dict(tensors)
    except RuntimeError as error:
        raise WeightsError(f"{path}: does not fit the net its .json describes ({error})") from None
    if not all(torch.isfinite(t).all() for t in net.state_dict().values() if t.is_floating_point()):
        raise WeightsError(f"{path}: holds numbers that are not finite; train it again")
    net.eval()
    calibration = record["calibration"]
    return Weights(
        net=net,
        name=str(record["name"]),
        version=str(record["version"]),
        sha256=digest,
        dial_calibration=_calibration(path, calibration, "dial"),
        zone_calibration=_calibration(path, calibration, "zone"),
        record=record,
        print_calibration=_calibration(path, calibration, "print") if "print" in calibration else None,
    )


def _bytes_of(path: Path) -> bytes:
    try:
        if not path.is_file():
            raise WeightsError(f"{path}: no such file; give the .safetensors file with its .json beside it")
        if path.stat().st_size > LARGEST_BYTES:
            raise WeightsError(f"{path}: larger than {LARGEST_BYTES} bytes; it is not one of dialtell's weights")
        return path.read_bytes()
    except OSError as error:
        raise WeightsError(f"{path}: cannot be read ({error.strerror}); check the path and its permissions") from error


def _described(path: Path, text: bytes) -> dict[str, Any]:
    try:
        record = json.loads(text.decode("utf-8"))
    except (ValueError, RecursionError) as error:
        raise WeightsError(f"{path}: not JSON ({error}); copy it again") from None
    if not isinstance(record, dict) or record.get("schema") != SCHEMA:
        raise WeightsError(f"{path}: schema is not {SCHEMA}; it was not written by this program's training")
    needed = {"name", "version", "sha256", "architecture", "preprocessing", "calibration", "renderer_version"}
    if missing := sorted(needed - set(record)):
        raise WeightsError(f"{path}: lacks {', '.join(missing)}; train again or copy it again")
    if apart := difference(record["preprocessing"]):
        raise WeightsError(f"{path}: made for another preprocessing ({apart}); train again with this version")
    return record


def _built(path: Path, record: Mapping[str, Any]) -> StrokeNet:
    size = record["architecture"]
    try:
        widths = tuple(int(w) for w in size["widths"])
        config = NetConfig(**{**size, "widths": widths, "code": int(size["code"]), "beside": int(size["beside"])})
    except (TypeError, KeyError, ValueError, OverflowError) as error:
        raise WeightsError(
            f"{path}: its .json describes no net of this version ({error}); copy it again or train again"
        ) from None
    sound = len(config.widths) == 4 and all(1 <= w <= 1024 for w in config.widths)
    if not (sound and 1 <= config.code <= 2048 and 0 <= config.beside <= 1024):
        raise WeightsError(f"{path}: its .json describes a net of absurd size {config}; copy it again or train again")
    return StrokeNet(config)


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
