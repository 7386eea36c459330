"""`dialtell train`: render, train, calibrate, write weights."""

from __future__ import annotations

import argparse

EPILOG = """\
examples:
  dialtell train --preset desk --out runs/desk     two CPU cores, under 45 minutes
  dialtell train --preset full --out runs/full     one data-centre GPU with 16 cores, under 10 minutes
  dialtell train --resume runs/desk                go on where an interrupted run stopped

The run's folder gets config.json, metrics.csv (a row an epoch), last.safetensors and best.safetensors (net,
averaged net, optimiser), then NAME.safetensors with NAME.json and MODEL_CARD.md. To score with them:
  dialtell score PHOTO --weights runs/desk/strokes.safetensors
Pictures depend on (seed, index) alone, not on the number of workers.
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Flags of the verb."""
    parser.epilog = EPILOG
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    where = parser.add_argument_group("where")
    where.add_argument("--out", metavar="DIR", help="folder of the run (default: runs/TIME-PRESET)")
    where.add_argument("--resume", metavar="RUN", help="go on with the run in this folder, as it began")
    where.add_argument("--name", default="strokes", help="name of the weights written (default: strokes)")
    what = parser.add_argument_group("what")
    what.add_argument(
        "--preset",
        choices=("desk", "full", "tiny"),
        help="size of the run (default: desk)",
    )
    what.add_argument("--epochs", type=int, metavar="N", help="epochs in all (default: the preset's)")
    what.add_argument("--pairs", type=int, metavar="N", help="twins rendered anew each epoch")
    what.add_argument("--steps", type=int, metavar="N", help="optimiser steps an epoch")
    what.add_argument("--batch", type=int, metavar="N", help="dials a step, even")
    what.add_argument("--seed", type=int, metavar="N", help="of pictures, order and weights (default: 1)")
    what.add_argument("--calibration", type=int, metavar="N", help="held-out dials to calibrate on, and to measure on")
    how = parser.add_argument_group("how")
    how.add_argument("--device", choices=("auto", "cpu", "cuda", "mps"), help="where the net runs (default: auto)")
    how.add_argument("--workers", type=int, metavar="N", help="rendering processes (default: one per core)")
    parser.add_argument("--json", action="store_true", help="print one JSON document with the figures")


def run(args: argparse.Namespace) -> int:
    """Train as asked; returns the exit code."""
    import json
    import shlex
    import sys
    import time
    from importlib import metadata
    from pathlib import Path

    from dialtell.synth.errors import ParameterError
    from dialtell.train.config import preset
    from dialtell.train.finish import checked_name, finish
    from dialtell.train.loop import Trainer, log
    from dialtell.train.supply import Supply

    checked_name(args.name)
    if args.resume:
        fixed = ("out", "preset", "pairs", "steps", "batch", "seed", "calibration")
        if given := [f"--{name}" for name in fixed if getattr(args, name) is not None]:
            raise ParameterError(
                f"{', '.join(given)} given with --resume; the run keeps what it began with, leave it out"
            )
        trainer = Trainer.resume(Path(args.resume), epochs=args.epochs, device=args.device)
    else:
        name = args.preset or "desk"
        names = ("epochs", "pairs", "steps", "batch", "seed", "calibration", "device", "workers")
        config = preset(name, **{key: getattr(args, key) for key in names})
        folder = Path(args.out or f"runs/{time.strftime('%Y%m%d-%H%M%S')}-{name}")
        trainer = Trainer(config, folder)
        trainer.start_folder()
    log.info("device %s: %s; run in %s", trainer.device, trainer.reason, trainer.folder)
    command = "dialtell " + shlex.join(sys.argv[1:])
    with Supply(args.workers or trainer.config.workers) as supply:
        trainer.run(supply)
        path = finish(trainer, supply, name=args.name, version=metadata.version("dialtell"), command=command)
    record = json.loads(path.with_suffix(".json").read_text())
    if args.json:
        print(json.dumps({"schema": "dialtell.train/1", "weights": str(path), "figures": record["figures"]}))
    else:
        print((trainer.folder / "MODEL_CARD.md").read_text(), end="")
        print(f"weights: {path}")
    return 0
