"""A net's numbers and the JSON beside them that says what they are: read with every check, written whole. No pickle."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from safetensors import SafetensorError
from safetensors.numpy import load as load_tensors
from safetensors.numpy import save as save_tensors

from dialtell.synth.shared.errors import WeightsError
from dialtell.synth.shared.files import write_whole

Numbers = dict[str, NDArray[Any]]  # of a net, by their names

LARGEST_BYTES = 64 * 2**20


def write_numbers(path: Path, numbers: Numbers, record: Mapping[str, Any]) -> str:
    """Write NAME.safetensors and NAME.json beside each other, each whole or not at all; the sha256 of the numbers,
    which is added to the record."""
    blob = save_tensors(numbers, metadata={"format": "pt"})
    digest = hashlib.sha256(blob).hexdigest()
    path.parent.mkdir(parents=True, exist_ok=True)
    text = json.dumps({**record, "sha256": digest}, indent=1).encode()
    for target, data in ((path, blob), (path.with_suffix(".json"), text)):
        write_whole(target, data, overwrite=True)
    return digest


def read_numbers(path: Path, schema: str, needed: set[str]) -> tuple[Numbers, dict[str, Any], str]:
    """The numbers, the record and the sha256. schema : the record must state. needed : it must hold beside sha256.

    Raises WeightsError naming file and remedy.
    """
    described = path.with_suffix(".json")
    blob, text = _bytes_of(path), _bytes_of(described)
    record = _described(described, text, schema, needed | {"sha256"})
    digest = hashlib.sha256(blob).hexdigest()
    if digest != record["sha256"]:
        raise WeightsError(
            f"{path}: sha256 {digest[:12]}.. is not the {str(record['sha256'])[:12]}.. its .json states; "
            "the file was damaged or changed, copy both again"
        )
    try:
        return load_tensors(blob), record, digest
    except SafetensorError as error:
        raise WeightsError(f"{path}: not a safetensors file ({error}); copy it again") from None
    except (KeyError, AttributeError, TypeError) as error:  # of kinds that numpy has not
        raise WeightsError(f"{path}: holds numbers of a kind that no net here has ({error}); copy it again") from None


def form(array: NDArray[Any]) -> str:
    """Kind and shape: "float32 16x1x3x3"."""
    return f"{array.dtype} {'x'.join(map(str, array.shape))}"


def sound(numbers: Numbers, meant: Mapping[str, str], path: Path) -> None:
    """Raise WeightsError where the numbers are not those that a net is made of. meant : their forms by name."""
    for name, own in numbers.items():  # loading would convert them unsaid
        kind = meant.get(name, form(own)).partition(" ")[0]
        if str(own.dtype) != kind:
            raise WeightsError(f"{path}: {name} is {own.dtype}, not {kind}; copy or train it again")
    found = {name: form(own) for name, own in numbers.items()}
    apart = sorted({name[:60] for name, _ in found.items() ^ meant.items()})
    if apart:
        raise WeightsError(f"{path}: does not fit the net its .json describes ({', '.join(apart[:5])})")
    if not all(np.isfinite(each).all() for each in numbers.values() if each.dtype.kind == "f"):
        raise WeightsError(f"{path}: holds numbers that are not finite; train it again")


def _bytes_of(path: Path) -> bytes:
    try:
        if not path.is_file():
            raise WeightsError(f"{path}: no such file; give the .safetensors file with its .json beside it")
        if path.stat().st_size > LARGEST_BYTES:
            raise WeightsError(f"{path}: larger than {LARGEST_BYTES} bytes; it is not one of dialtell's weights")
        return path.read_bytes()
    except OSError as error:
        raise WeightsError(f"{path}: cannot be read ({error.strerror}); check the path and its permissions") from error


def _described(path: Path, text: bytes, schema: str, needed: set[str]) -> dict[str, Any]:
    try:
        record = json.loads(text.decode("utf-8"))
    except (ValueError, RecursionError) as error:
        raise WeightsError(f"{path}: not JSON ({error}); copy it again") from None
    if not isinstance(record, dict) or record.get("schema") != schema:
        raise WeightsError(f"{path}: schema is not {schema}; it was not written by this program's training")
    if missing := sorted(needed - set(record)):
        raise WeightsError(f"{path}: lacks {', '.join(missing)}; train again or copy it again")
    return record
