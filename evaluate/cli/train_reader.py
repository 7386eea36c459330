"""`dialtell train --net reader`: draw dials in their settings, train the reader, measure it, write it."""

from __future__ import annotations

import argparse
import json
import time
from pathlib import Path
from typing import TYPE_CHECKING

from dialtell.synth.shared.errors import ParameterError

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from dialtell.train.reader.loop import ReaderTrainer

# flags of `train` whose name is no name in Python, and those that the other net alone has
_FLAGS = {"origin": "from"}
_STROKES_ONLY = ("origin", "photos", "pairs", "calibration", "keep", "tensorboard")


def run_reader(args: argparse.Namespace, version: str, command: str) -> int:
    """Train as asked; returns the exit code."""
    from dialtell.train.reader.finish import CARD, finish_reader
    from dialtell.train.reader.loop import log

    given = [f"--{_FLAGS.get(name, name)}" for name in _STROKES_ONLY if getattr(args, name) not in (None, False)]
    if given:
        raise ParameterError(f"{', '.join(given)} given with --net reader; they are of the strokes, leave them out")
    began = time.monotonic()
    trainer = _trainer(args)
    log.info("device %s: %s; run in %s", trainer.device, trainer.reason, trainer.folder)
    trainer.run(seconds=None if args.minutes is None else 60.0 * args.minutes - (time.monotonic() - began))
    if trainer.epoch < trainer.config.epochs:
        print(f"stopped after epoch {trainer.epoch} of {trainer.config.epochs}; go on with: "
              f"dialtell train --net reader --resume {trainer.folder}")  # fmt: skip
        return 0
    path = finish_reader(trainer, name="reader", version=version, command=command)
    figures = json.loads(path.with_suffix(".json").read_text("utf-8"))["figures"]
    if args.json:
        print(json.dumps({"schema": "dialtell.train/1", "weights": str(path), "figures": figures}))
    else:
        rows = [f"{name}: {row['count']} of {row['of']}" for name, row in figures.items()]
        use = f"use it: lay it beside strokes.safetensors and score with --weights {path.parent}"
        print("\n".join([f"reader: {path}", f"card:   {path.parent / CARD}", *rows, use]))
    return 0


def _trainer(args: argparse.Namespace) -> ReaderTrainer:
    from dialtell.train.reader.config import preset
    from dialtell.train.reader.loop import ReaderTrainer

    photos = _photographs(Path(args.backgrounds)) if args.backgrounds else ()
    if args.resume:
        return ReaderTrainer.resume(Path(args.resume), epochs=args.epochs, device=args.device, photos=photos)
    name = args.preset or "desk"
    names = ("epochs", "steps", "batch", "seed", "device", "workers")
    config = preset(name, **{key: getattr(args, key) for key in names})
    folder = Path(args.out or f"runs/{time.strftime('%Y%m%d-%H%M%S')}-reader-{name}")
    trainer = ReaderTrainer(config, folder, photos=photos)
    trainer.start_folder()
    return trainer


def _photographs(folder: Path) -> tuple[NDArray[np.uint8], ...]:
    """Backgrounds of the user's own, reduced: all photographs in a folder."""
    import cv2
    import numpy as np

    from dialtell.model.reading.photo import read_photo, walk_photos
    from dialtell.synth.shared.srgb import codes

    longest = 1000
    found = []
    paths, _ = walk_photos([folder])
    for path in paths:
        light = read_photo(path).pixels
        share = min(longest / max(light.shape[:2]), 1.0)
        small = cv2.resize(light, None, fx=share, fy=share, interpolation=cv2.INTER_AREA)
        found.append(codes(np.clip(small, 0.0, 1.0)))
    if not found:
        raise ParameterError(f"--backgrounds {folder}: no photographs there; give a folder of photographs")
    return tuple(found)
