"""`dialtell train`: render, train, calibrate, write weights."""

from __future__ import annotations

import argparse
import shlex
import sys
import time
from pathlib import Path

_FLAGS = {"origin": "from"}  # flags whose name is no name in Python

EPILOG = """\
examples:
  dialtell train --preset desk --out runs/desk     two CPU cores, under 45 minutes
  dialtell train --preset full --out runs/full     one data-centre GPU and some 30 cores, about 10 minutes
  dialtell train --resume runs/desk                go on where an interrupted run stopped
  dialtell train --net reader --preset full --out runs/reader --minutes 9   the reader, as long as a machine is lent
  dialtell train --net reader --resume runs/reader --minutes 9              and on, until its last epoch
  dialtell train --preset desk --from shipped      begin with the weights that come with dialtell
  torchrun --nproc-per-node 2 --no-python dialtell train --preset full --out runs/full    two GPUs, the same steps
  dialtell train --photos labels.csv --out runs/mine   adapt the shipped weights to your own labelled photographs

The run's folder gets config.json, metrics.csv (a row an epoch), last.safetensors and best.safetensors (net,
averaged net, optimiser), then NAME.safetensors with NAME.json and MODEL_CARD.md. To score with them:
  dialtell score PHOTO --weights runs/desk/strokes.safetensors
Pictures depend on (seed, index) alone, not on the number of workers. Under torchrun each process has a GPU and a share
of every batch; the steps are those of one process, but for dropout. The first draws the pictures and writes.

labels.csv: a row a photograph, columns photo and dial_process (painted, printed, mixed or cannot tell), and if known
dial (one name for all photographs of one dial), print_process, signature, numerals, minute_track, seconds_bit, outline;
`dialtell label` writes such a table. Dials are split, never photographs: those held out are not learnt from.
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Flags of the verb."""
    parser.epilog = EPILOG
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    where = parser.add_argument_group("where")
    where.add_argument("--out", metavar="DIR", help="folder of the run (default: runs/TIME-PRESET)")
    where.add_argument("--resume", metavar="RUN", help="go on with the run in this folder, as it began")
    where.add_argument(
        "--from",
        dest="origin",
        metavar="WEIGHTS",
        help="begin with trained weights and their net: a .safetensors file, a folder with one, or the word shipped",
    )
    where.add_argument(
        "--photos",
        metavar="LABELS.csv",
        help="adapt trained weights (those of --from, else the shipped ones) to photographs labelled in this table",
    )
    where.add_argument("--name", default="strokes", help="name of the weights written (default: strokes)")
    what = parser.add_argument_group("what")
    what.add_argument(
        "--preset",
        choices=("desk", "full", "tiny"),
        help="size of the run (default: desk)",
    )
    what.add_argument(
        "--net",
        choices=("strokes", "reader"),
        default="strokes",
        help="which net: that of the strokes, or the reader that finds dials and names their pixels (default: strokes)",
    )
    what.add_argument(
        "--backgrounds", metavar="DIR", help="reader: a folder of photographs of yours to lay drawn dials on"
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
    how.add_argument(
        "--minutes", type=float, metavar="N", help="reader: stop after the epoch in which so much time is over"
    )
    how.add_argument("--keep", metavar="DIR", help="keep all that is drawn, and take what is there")
    how.add_argument("--tensorboard", action="store_true", help="write event files too (pip install tensorboard)")
    parser.add_argument("--json", action="store_true", help="print one JSON document with the figures")


def run(args: argparse.Namespace) -> int:
    """Train as asked; returns the exit code."""
    import json

    from dialtell.train.run.card import closing_words
    from dialtell.train.run.finish import checked_name

    if args.net == "reader":
        from dialtell.evaluate.cli.train_reader import run_reader

        return run_reader(args, _version(), _command())
    if args.minutes is not None or args.backgrounds:
        _only_reader(args)
    checked_name(args.name)
    path = _adapted(args) if args.photos else _trained(args)
    if path is None:
        return 0
    record = json.loads(path.with_suffix(".json").read_text("utf-8"))
    if args.json:
        print(json.dumps({"schema": "dialtell.train/1", "weights": str(path), "figures": record["figures"]}))
    else:
        print(closing_words(path, record))
    return 0


def _only_reader(args: argparse.Namespace) -> None:
    from dialtell.synth.shared.errors import ParameterError

    flag = "--minutes" if args.minutes is not None else "--backgrounds"
    raise ParameterError(f"{flag} given with --net {args.net}; it is of the reader, give --net reader or leave it out")


def _trained(args: argparse.Namespace) -> Path | None:
    """A run from a preset, from weights or gone on with; the weights' path, None where another process writes them."""
    from typing import cast

    from dialtell.model.net.weights_file import find_weights, load_weights
    from dialtell.train.bags.picture_folder import KeepingSupply
    from dialtell.train.bags.supply import Supply
    from dialtell.train.run.board import BoardTrainer, open_board
    from dialtell.train.run.config import preset
    from dialtell.train.run.curriculum import Curriculum
    from dialtell.train.run.finish import finish, order_held_out
    from dialtell.train.run.loop import log
    from dialtell.train.run.origin import begin_with
    from dialtell.train.run.ranks import SharedSupply, joined

    ranks = joined(args.device or "auto")
    if not ranks.first:
        log.setLevel("ERROR")
    if args.resume:
        _refuse(args, "resume", "the run keeps what it began with")
        resumed = BoardTrainer.resume(Path(args.resume), epochs=args.epochs, device=args.device, ranks=ranks)
        trainer = cast(BoardTrainer, resumed)
    else:
        name = args.preset or "desk"
        names = ("epochs", "pairs", "steps", "batch", "seed", "calibration", "device", "workers")
        config = preset(name, **{key: getattr(args, key) for key in names})
        initial = None
        if args.origin:
            weights = load_weights(find_weights(args.origin))
            config, initial = begin_with(config, weights), weights.net
            log.info("begins with %s %s (%s)", weights.name, weights.version, weights.sha256[:12])
        trainer = BoardTrainer(config, _folder(args, name), initial=initial, ranks=ranks)
    board = open_board(trainer.folder / "tensorboard") if args.tensorboard and ranks.first else None
    if not args.resume and ranks.first:
        trainer.start_folder()
        if args.origin:
            trainer.save("last")  # a run cut off before its first epoch goes on from these weights too
    log.info("device %s: %s; run in %s", trainer.device, trainer.reason, trainer.folder)
    trainer.writer = board
    workers = args.workers or trainer.config.workers
    own = None if not ranks.first else KeepingSupply(Path(args.keep), workers) if args.keep else Supply(workers)
    with own if own is not None and ranks.count == 1 else SharedSupply(own) as supply:
        trainer.run(Curriculum(supply, trainer.config), then=lambda: order_held_out(supply, trainer.config))
        ranks.part()
        if not ranks.first:
            return None
        if board is not None:
            board.close()
        return finish(trainer, supply, name=args.name, version=_version(), command=_command())


def _adapted(args: argparse.Namespace) -> Path:
    """Weights adapted to a user's photographs; the path of the new ones."""
    from dialtell.model.net.device import pick_device
    from dialtell.model.net.weights_file import find_weights, load_weights
    from dialtell.train.bags.supply import Supply
    from dialtell.train.photographs.adapt import AdaptConfig
    from dialtell.train.photographs.adapt_run import adapt_to_photographs
    from dialtell.train.run.config import preset
    from dialtell.train.run.loop import log

    _refuse(args, "photos", "an adaptation has its own steps and rate")
    weights = load_weights(find_weights(args.origin or "shipped"))
    log.info("adapts %s %s (%s)", weights.name, weights.version, weights.sha256[:12])
    asked = {key: value for key in ("seed", "steps", "pairs") if (value := getattr(args, key)) is not None}
    device, reason = pick_device(args.device or "auto")
    folder = _folder(args, "photos")
    log.info("device %s: %s; run in %s", device, reason, folder)
    drawn = preset(args.preset or "desk", calibration=args.calibration)
    with Supply(args.workers or 0) as supply:
        return adapt_to_photographs(
            Path(args.photos), weights, folder, supply, config=AdaptConfig(**asked), scope=drawn.scope,
            calibration=drawn.calibration, device=device, name=args.name, version=_version(), command=_command(),
        )  # fmt: skip


_REFUSED = {
    "resume": ("out", "origin", "photos", "preset", "pairs", "steps", "batch", "seed", "calibration"),
    "photos": ("resume", "epochs", "batch", "tensorboard", "keep"),
}


def _refuse(args: argparse.Namespace, flag: str, why: str) -> None:
    from dialtell.synth.shared.errors import ParameterError

    given = [f"--{_FLAGS.get(name, name)}" for name in _REFUSED[flag] if getattr(args, name) not in (None, False)]
    if given:
        raise ParameterError(f"{', '.join(given)} given with --{flag}; {why}, leave it out")


def _folder(args: argparse.Namespace, name: str) -> Path:
    return Path(args.out or f"runs/{time.strftime('%Y%m%d-%H%M%S')}-{name}")


def _version() -> str:
    from importlib import metadata

    return metadata.version("dialtell")


def _command() -> str:
    return "dialtell " + shlex.join(sys.argv[1:])
