"""The example photographs that come with dialtell: one dial painted, and printed both ways, and one far too small.

    python tests/trials makers/example_dials --out evaluate/examples

To be drawn anew after a change of the renderer. The first of its set whole in the frame, of the usual layout, signed
and taken in colour, sharp, unmoved, well lit, hardly worn and compressed; not chosen for what it is called.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from dialtell.synth.design.design import Variety
from dialtell.synth.scene import DialSpec, Range, render, sample_spec
from dialtell.synth.shared.errors import OutputError
from dialtell.synth.shared.files import write_whole
from dialtell.synth.shared.terms import Process

SEED, INDEX = 9_100_009, 8
SCOPE = Range(
    pixels_per_radius=(600.0, 660.0), max_side=1400, tilt=12.0, wear=(0.0, 0.1), hands_off=1.0, finished=0.0,
    variety=Variety(layouts=("standard",), uncommon=0.0),
)  # fmt: skip
SMALL = 280  # px, longer side of the one that carries no strokes
QUALITY = 92  # JPEG
NAMES = {
    "painted": Process.HAND,
    "printed-transfer": Process.TRANSFER,
    "printed-photographic": Process.PHOTOGRAPHIC,
}


def example_spec(process: Process) -> DialSpec:
    """The dial all examples show, under one process."""
    return sample_spec(SEED, INDEX, SCOPE, Process.HAND).as_process(process)


def example_pictures() -> dict[str, NDArray[np.uint8]]:
    """(H, W, 3) uint8 sRGB of each example by the name of its file, without .jpg."""
    found = {name: render(example_spec(process)) for name, process in NAMES.items()}
    height, width = found["painted"].shape[:2]
    scale = SMALL / max(height, width)
    size = (round(width * scale), round(height * scale))
    small = np.asarray(cv2.resize(found["painted"], size, interpolation=cv2.INTER_AREA), dtype=np.uint8)
    return found | {"too-small": small}


def main(arguments: list[str] | None = None) -> int:
    """Draw the examples into a folder, over those that are there."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--out", type=Path, required=True, metavar="DIR", help="folder; files of these names go")
    args = parser.parse_args(arguments)
    try:
        for name, picture in example_pictures().items():
            done, data = cv2.imencode(".jpg", picture[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, QUALITY])
            assert done
            write_whole(args.out / f"{name}.jpg", data.tobytes(), overwrite=True)
    except OutputError as error:
        print(f"example_dials: error: {error}", file=sys.stderr)
        return 1
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
