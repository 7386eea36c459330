"""Our net with three seeds, three sizes, half the pictures, two ablations and two baselines, side by side.

    python -m dialtell.train.study.study --out DIR

No torch until the work begins: the processes that render import this file again.
"""

from __future__ import annotations

import argparse
import json
import logging
import sys
from collections.abc import Sequence
from pathlib import Path

EPILOG = """\
examples:
  python -m dialtell.train.study.study --preset full --out runs/study     everything, then calibrated and measured
  python -m dialtell.train.study.study --finish runs/study                calibrate one that was cut off

The folder gets study.json (speeds, how busy each device was, how long it waited for pictures) and a folder for each
member: checkpoints after every epoch, metrics.csv, and in the end its weights with figures. All CUDA devices are used.
"""
NUMBERS = ("epochs", "pairs", "steps", "batch", "seed", "calibration", "validation")


def build_parser() -> argparse.ArgumentParser:
    """The flags."""
    parser = argparse.ArgumentParser(
        prog="python -m dialtell.train.study.study", description=__doc__, epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )  # fmt: skip
    parser.add_argument("--preset", choices=("desk", "full", "tiny"), default="full", help="size (default: full)")
    parser.add_argument("--out", metavar="DIR", help="folder of the study")
    parser.add_argument("--finish", metavar="DIR", help="calibrate and measure a study that was cut off")
    parser.add_argument("--members", metavar="A,B,..", help="some of the members by name (default: all)")
    for name in NUMBERS:
        parser.add_argument(f"--{name}", type=int, metavar="N", help="as of dialtell train (default: the preset's)")
    parser.add_argument("--device", choices=("auto", "cpu", "cuda", "mps"), help="where (default: auto)")
    parser.add_argument("--pictures", metavar="DIR", help="draw nothing, take what dialtell train --keep DIR writes")
    parser.add_argument("--workers", type=int, default=0, metavar="N", help="rendering processes (default: one a core)")
    return parser


def main(arguments: Sequence[str] | None = None) -> int:
    """Train and finish a study, or finish one; the study's JSON on standard output."""
    args = build_parser().parse_args(arguments)

    from dialtell.synth.shared.errors import DialtellError, ParameterError
    from dialtell.train.bags.picture_folder import FolderSupply
    from dialtell.train.bags.supply import Supply
    from dialtell.train.run.config import preset
    from dialtell.train.study.side_by_side import Study, chosen

    log = logging.getLogger("dialtell.train")
    log.setLevel(logging.INFO)
    if not log.handlers:
        log.addHandler(logging.StreamHandler(sys.stderr))
    command = "python -m dialtell.train.study.study " + " ".join(sys.argv[1:] if arguments is None else arguments)
    try:
        if bool(args.finish) == bool(args.out):
            raise ParameterError("give --out DIR for a new study, or --finish DIR for one that was cut off")
        if args.finish:
            study = Study.load(Path(args.finish), args.device)
        else:
            config = preset(args.preset, device=args.device, **{name: getattr(args, name) for name in NUMBERS})
            study = Study(config, chosen(args.members.split(",") if args.members else None), Path(args.out))
            study.begin()
        with FolderSupply(Path(args.pictures)) if args.pictures else Supply(args.workers) as supply:
            if not args.finish:
                study.run(supply)
            study.finish(supply, command=command)
    except DialtellError as error:
        print(f"study: error: {error}", file=sys.stderr)
        return 1
    print(json.dumps(study.record(), indent=1))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
