"""The reader on disk: reader.safetensors with the numbers and reader.json with what is known about it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from dialtell.model.reader.glance import Looks
from dialtell.model.reader.in_onnx import LooksInOnnx
from dialtell.model.reader.reader_config import ReaderConfig
from dialtell.model.weights.graphs import graphs_for
from dialtell.model.weights.numbers import Numbers, read_numbers, write_numbers
from dialtell.synth.shared.errors import WeightsError
from dialtell.synth.shared.look_sizes import SIDE, SQUARE
from dialtell.synth.shared.terms import MAKES, SEEN

if TYPE_CHECKING:
    from dialtell.model.reader.net import ReaderNet

SCHEMA = "dialtell.reader/1"
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
    """A net ready to read. looks : the net, asked by ONNX Runtime or by torch. record : the whole JSON."""

    looks: Looks
    name: str
    version: str
    sha256: str
    certainty: Certainty
    record: Mapping[str, Any]

    @property
    def identity(self) -> dict[str, str]:
        """What names this reader in a result."""
        return {"name": self.name, "version": self.version, "sha256": self.sha256}


def save_reader(path: Path, net: ReaderNet, record: Mapping[str, Any]) -> str:
    """Write both files; the sha256 of the numbers. record must hold name, version, renderer_version, training,
    certainty and figures."""
    from dialtell.model.weights.modules import numbers_of

    whole = {"schema": SCHEMA, **record, "architecture": asdict(net.config), "meaning": MEANING}
    digest = write_numbers(path, numbers_of(net), whole)
    load_reader.cache_clear()  # what was loaded from there before is another reader
    return digest


@cache
def load_reader(path: Path | None = None, device: str = "cpu", lighter: bool = True) -> Reader:
    """Load a reader (the shipped one for None), once. device : where it runs; cpu, cuda or mps. lighter : False for
    torch on a processor too. Raises WeightsError naming file and remedy."""
    path = path or SHIPPED
    needed = {"name", "version", "architecture", "meaning", "certainty", "renderer_version"}
    numbers, record, digest = read_numbers(path, SCHEMA, needed)
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
    certainty = Certainty(outline, twelve)  # type: ignore[arg-type]
    looks = _looks(config, numbers, path, device, lighter)
    return Reader(looks, str(record["name"]), str(record["version"]), digest, certainty, record)


def _looks(config: ReaderConfig, numbers: Numbers, path: Path, device: str, lighter: bool) -> Looks:
    """The net with its numbers, asked by the runtime that suits the device."""
    graphs = graphs_for("reader", asdict(config), numbers, path) if lighter and device == "cpu" else None
    if graphs is not None:
        return LooksInOnnx(graphs)
    from dialtell.model.reader.in_torch import LooksInTorch
    from dialtell.model.reader.net import ReaderNet
    from dialtell.model.weights.modules import filled

    return LooksInTorch(filled(lambda: ReaderNet(config), numbers, path), device)
