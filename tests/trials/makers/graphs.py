"""The graphs that ONNX Runtime runs the shipped nets by: anew after a change of a net's code, not of its numbers.

    python tests/trials makers/graphs --out model/weights        extra: dialtell[graphs]

Writes NAME.onnx for each part and graphs.json, which says of which net they are. A graph keeps the shapes of the net's
numbers and none of the numbers; those are put in where a file of weights is read (model/weights/graphs.py).
"""

from __future__ import annotations

import argparse
import hashlib
import json
import sys
import warnings
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np
import torch
from torch import Tensor, nn

from dialtell.model.net.likeness import Likeness
from dialtell.model.net.net import StrokeNet
from dialtell.model.net.traits import plain_numbers
from dialtell.model.net.weights_file import load_weights
from dialtell.model.reader.file import load_reader
from dialtell.model.reader.net import SIDE, ReaderNet
from dialtell.model.reader.reader_config import ReaderConfig
from dialtell.model.reading.patches import SIDE as PATCH
from dialtell.model.weights.modules import folded, forms, norms
from dialtell.synth.shared.files import write_whole

PREFIX = "net."  # of the names of its numbers in a graph
MANY = 8192  # patches of a dial at most


class _Encoder(nn.Module):
    def __init__(self, net: StrokeNet) -> None:
        super().__init__()
        self.net = net

    def forward(self, patches: Tensor) -> Tensor:
        codes: Tensor = self.net.encoder(patches[:, None])
        return codes


class _Judge(nn.Module):
    def __init__(self, net: StrokeNet) -> None:
        super().__init__()
        self.net = net

    def forward(
        self, code: Tensor, zone: Tensor, level: Tensor, own: Tensor,
        beside: Tensor, alike: Tensor, residual: Tensor, floor: Tensor,
    ) -> tuple[Tensor, ...]:  # fmt: skip
        output = self.net.weighed(code, zone, level, own, Likeness(beside, alike, residual, floor))
        why = output.reasons
        assert why is not None and len(output.voices) == 2
        ways = []
        for voice in output.voices:
            assert voice.reasons is not None
            ways.append(voice.reasons.place_dial.sum(1) + voice.reasons.pair_dial.sum((1, 2)))
        parts = (why.place_dial, why.place_zone, why.pair_dial, why.pair_zone, why.zone_base)
        return output.dial, output.zone, output.photographic, why.dial_base, *parts, *ways


class _Traits(nn.Module):
    def forward(self, patches: Tensor) -> Tensor:
        return plain_numbers(patches)


class _Reader(nn.Module):
    def __init__(self, net: ReaderNet, turn: bool) -> None:
        super().__init__()
        self.net, self.turn = net, turn

    def forward(self, picture: Tensor) -> tuple[Tensor, ...]:
        sight = self.net(picture.permute(0, 3, 1, 2).float(), self.turn)
        return tuple(part for part in sight if part is not None)


def graph(part: nn.Module, given: tuple[Tensor, ...], along: Sequence[int | None]) -> tuple[bytes, dict[str, str]]:
    """The graph of a part without its numbers, and the names of those it takes, by theirs in the graph.

    given : inputs of some size. along : of each the axis along which there are as many as there are, None for none.
    """
    from onnx import TensorProto

    count = torch.export.Dim("count", min=1, max=MANY)
    shapes = tuple(None if axis is None else {axis: count} for axis in along)
    with warnings.catch_warnings(), torch.no_grad():
        warnings.simplefilter("ignore")  # of the exporter's own parts
        made = torch.onnx.export(part.eval(), given, dynamo=True, optimize=False, dynamic_shapes=shapes, verbose=False)
    assert made is not None
    model, takes = made.model_proto, {}
    for own in model.graph.initializer:
        if own.name in part.state_dict() and own.data_type == TensorProto.FLOAT:
            takes[own.name] = own.name.removeprefix(PREFIX)
            own.ClearField("raw_data")
            own.data_location = TensorProto.EXTERNAL
            size = 4 * int(np.prod(own.dims))
            for key, value in (("location", "numbers"), ("offset", "0"), ("length", str(size))):
                entry = own.external_data.add()
                entry.key, entry.value = key, value
    for node in model.graph.node:  # where in whose files it was made
        node.ClearField("metadata_props")
        node.ClearField("doc_string")
    return model.SerializeToString(deterministic=True), takes


def main(arguments: Sequence[str] | None = None) -> int:
    """Write them; returns the exit status."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n")[0])
    parser.add_argument("--out", type=Path, required=True, metavar="FOLDER", help="of the product: model/weights")
    folder = parser.parse_args(arguments).out
    torch.manual_seed(0)
    shipped, eye_shipped = load_weights(lighter=False), load_reader(lighter=False).record["architecture"]
    strokes = StrokeNet(shipped.net.config)
    reader = ReaderNet(ReaderConfig(tuple(eye_shipped["widths"]), eye_shipped["turn"]))
    some, pairs = 40, strokes.config.pairs
    judged = (
        torch.rand(1, some, strokes.config.code), torch.zeros(1, some, dtype=torch.long), torch.zeros(1, some),
        torch.zeros(1, some), torch.zeros(1, some, pairs, dtype=torch.long), torch.rand(1, some, pairs),
        torch.rand(1, some, pairs), torch.rand(1),
    )  # fmt: skip
    picture = torch.zeros(1, SIDE, SIDE, 3, dtype=torch.uint8)
    patches = torch.rand(some, PATCH, PATCH)
    quick, eye = folded(strokes), folded(reader)
    parts: dict[str, dict[str, tuple[nn.Module, tuple[Tensor, ...], list[int | None]]]] = {
        "strokes": {
            "encoder": (_Encoder(quick), (patches,), [0]),
            "judge": (_Judge(quick), judged, [1] * 7 + [None]),
            "traits": (_Traits(), (patches,), [0]),
        },
        "reader": {
            "reader": (_Reader(eye, False), (picture,), [None]),
            "reader_turn": (_Reader(eye, True), (picture,), [None]),
        },
    }
    described: dict[str, Any] = {}
    for name, net, size in (("strokes", strokes, strokes.config.record()), ("reader", reader, asdict(reader.config))):
        graphs = {}
        for part, (module, given, along) in parts[name].items():
            blob, takes = graph(module, given, along)
            write_whole(folder / f"{part}.onnx", blob, overwrite=True)
            graphs[part] = {"sha256": hashlib.sha256(blob).hexdigest(), "takes": takes}
            print(f"{part}.onnx: {len(blob)} bytes, {len(takes)} of the net's numbers", file=sys.stderr)
        described[name] = {"architecture": size, "graphs": graphs, "norms": norms(net), "numbers": forms(net)}
    text = json.dumps(described, indent=1) + "\n"
    write_whole(folder / "graphs.json", text.encode(), overwrite=True)
    return 0
