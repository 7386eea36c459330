"""The nets as graphs of ONNX, which ONNX Runtime runs: sooner than torch on a processor, and a tenth of its size.

A graph holds no numbers: they are put in from the same file that torch would fill its net with, so new weights of the
same net need no new graph. graphs.json beside this file says of which net each graph is. `python tests/trials
makers/graphs` makes both anew after a change of a net's code.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dialtell.model.weights.numbers import Numbers, sound
from dialtell.synth.shared.errors import WeightsError

PLACE = Path(__file__).with_name("graphs.json")
_EPSILON = 1e-5  # of torch's norms


class Graphs:
    """The graphs of one net with its numbers in them; each is loaded when it is first run.

    One thread works on each: a photograph is read by one, and workers share the cores.
    """

    def __init__(self, about: Mapping[str, Any], numbers: Numbers) -> None:
        self._about, self._numbers = about, with_norms_folded(numbers, about["norms"])
        self._loaded: dict[str, Any] = {}

    def run(self, name: str, *given: NDArray[Any]) -> list[NDArray[Any]]:
        """What a graph gives of its inputs, in their order."""
        session = self._loaded.get(name) or self._load(name)
        return list(session.run(None, {put.name: each for put, each in zip(session.get_inputs(), given, strict=True)}))

    def _load(self, name: str) -> Any:
        import onnxruntime

        about, path = self._about["graphs"][name], PLACE.with_name(f"{name}.onnx")
        blob = path.read_bytes()
        if hashlib.sha256(blob).hexdigest() != about["sha256"]:
            raise WeightsError(f"{path}: is not the graph that {PLACE.name} states; install dialtell again")
        options = onnxruntime.SessionOptions()
        options.intra_op_num_threads = options.inter_op_num_threads = 1
        options.log_severity_level = 3  # errors
        values = [onnxruntime.OrtValue.ortvalue_from_numpy(self._numbers[own]) for own in about["takes"].values()]
        options.add_external_initializers(list(about["takes"]), values)
        session = onnxruntime.InferenceSession(blob, options, providers=["CPUExecutionProvider"])
        return self._loaded.setdefault(name, session)


def graphs_for(net: str, architecture: Mapping[str, Any], numbers: Numbers, path: Path) -> Graphs | None:
    """The graphs of `net`, strokes or reader, with the numbers of a file; None where ONNX Runtime is not installed, or
    where the net is of another size than the shipped one. Raises WeightsError where the numbers are not its own."""
    about = described()[net]
    if about["architecture"] != json.loads(json.dumps(architecture)) or not _installed():
        return None
    sound(numbers, about["numbers"], path)
    return Graphs(about, numbers)


@cache
def described() -> dict[str, Any]:
    """graphs.json."""
    found: dict[str, Any] = json.loads(PLACE.read_text("utf-8"))
    return found


@cache
def _installed() -> bool:
    try:
        import onnxruntime  # noqa: F401
    except ImportError:
        return False
    return True


def with_norms_folded(numbers: Numbers, norms: Mapping[str, str]) -> Numbers:
    """Likewise, norms put into the convolutions before them, which is as exact. norms : by convolution."""
    found = dict(numbers)
    for convolution, norm in norms.items():
        mean, variance, gain, shift = (
            numbers[f"{norm}.{name}"] for name in ("running_mean", "running_var", "weight", "bias")
        )
        factor = gain / np.sqrt(variance + np.float32(_EPSILON))
        before = numbers.get(f"{convolution}.bias", np.float32(0))
        found[f"{convolution}.weight"] = numbers[f"{convolution}.weight"] * factor[:, None, None, None]
        found[f"{convolution}.bias"] = shift + (before - mean) * factor
    return {name: np.ascontiguousarray(each) for name, each in found.items()}
