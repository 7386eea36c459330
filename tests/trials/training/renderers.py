"""The same net taught by one renderer and by another: several seeds side by side on the same pictures, in a time box.

    python tests/trials training/renderers --out DIR --seeds 1,2,3 --minutes 4
    python tests/trials training/renderers --out DIR2 --seeds 1 --range finished=0 coated=false --variety fonts=0

The net is that of the preset (full: today's), its training short. `--range` and `--variety` override fields of what is
drawn, so that each group of a renderer's changes can be left out; a field that this tree does not have is said and
passed over: this one file also runs in the tree of an older renderer. Judge weights by `training/on_real`, each in the
tree it was taught in, for the reading belongs to it.

DIR gets study.json and a folder for each seed: metrics.csv, checkpoints, and in the end strokes.safetensors with its
.json. With --minutes epochs are left out where the pace asks for it, and the learning rate still falls to its end;
calibration comes after that time. One that was cut off: python -m dialtell.train.study.study --finish DIR (seeds 1..3).

On two H200 and 30 cores an epoch of 400 steps of 96 dials takes 14 s with two nets on one card (10 s with one), and
500 pairs some 9 s of drawing: 12 epochs of three seeds 4 minutes with compiling and calibration.
"""

from __future__ import annotations

import argparse
import json
import logging
import sys
import time
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import fields, replace
from pathlib import Path
from typing import Any

from dialtell.synth.design.design import Variety
from dialtell.synth.scene import Range
from dialtell.synth.shared.errors import DialtellError, ParameterError

log = logging.getLogger("dialtell.train")

# shorter than the preset full: enough to compare on
SHORT = {"epochs": 12, "steps": 400, "pairs": 500, "validation": 200, "calibration": 300}
NUMBERS = ("epochs", "steps", "pairs", "batch", "patches", "window", "validation", "calibration")
YES, NO = ("true", "yes", "1"), ("false", "no", "0")


def overridden(spec: Any, words: Sequence[str]) -> tuple[Any, list[str]]:
    """`spec` with fields changed by words NAME=VALUE, and the names of those it does not have.

    A value is read as what the field holds: a number, true or false, a word, or several of them with commas between.
    """
    known = {field.name for field in fields(spec)}
    changes, missing = {}, []
    for word in words:
        name, sign, text = word.partition("=")
        if not sign:
            raise ParameterError(f"{word!r} is no NAME=VALUE; give such as finished=0")
        if name in known:
            changes[name] = _value(name, text, getattr(spec, name))
        else:
            missing.append(name)
    return replace(spec, **changes), missing


def _value(name: str, text: str, like: Any) -> Any:
    try:
        if isinstance(like, bool):
            return {**dict.fromkeys(YES, True), **dict.fromkeys(NO, False)}[text.lower()]
        if isinstance(like, tuple):
            kind = type(like[0]) if like else str
            found = tuple(kind(part) for part in text.split(","))
            if kind is not str and len(found) != len(like):
                raise ValueError
            return found
        return type(like)(text)
    except (ValueError, KeyError, TypeError):
        raise ParameterError(f"{name} is {text!r}; give it as it stands now, {like!r}") from None


def narrowed(scope: Range, ranges: Sequence[str], varieties: Sequence[str]) -> tuple[Range, list[str]]:
    """What is drawn with the fields of both flags changed, and names that no field has here."""
    variety, unknown = overridden(scope.variety, varieties)
    if not isinstance(variety, Variety):  # the fields of a Range may come to hold something else
        raise ParameterError(f"variety is {variety!r}; this tree keeps what designs draw from elsewhere")
    scope, missing = overridden(scope, ranges)
    return replace(scope, variety=variety), [*missing, *unknown]


def shortened(epoch: int, asked: int, paces: Sequence[float], left: float) -> int:
    """Epochs in all that fit: `epoch` done, `asked` for, seconds each took, and seconds that are left.

    The first epoch compiles, so it counts only where it is the only one.
    """
    pace = sum(paces[1:]) / (len(paces) - 1) if len(paces) > 1 else paces[0]
    if len(paces) == 1 and left > 0:
        return asked  # nothing is known yet of the others' pace
    return min(asked, epoch + max(int(left / max(pace, 1e-9)), 0))


def members(seeds: Sequence[int], first: int, begun: Path | None = None, *, whole: bool = False) -> list[Any]:
    """One net for each seed, all on the pictures of seed `first`; begun with the encoder, or all, of those weights."""
    from dialtell.train.study.side_by_side import Member

    return [Member(f"strokes-{seed}", "strokes", offset=seed - first, begun=begun, whole=whole) for seed in seeds]


def boxed(study: Any, supply: Any, seconds: float | None, *, held_out: bool = True) -> None:
    """Train all members of a study that has begun, epochs left out where they would not fit into `seconds`.

    held_out : whether what calibration asks for is drawn while the last epochs train.
    """
    from dialtell.train.run.curriculum import Curriculum
    from dialtell.train.run.feed import Feed
    from dialtell.train.run.finish import order_held_out
    from dialtell.train.run.store import HeldOut
    from dialtell.train.study.side_by_side import BusyShare

    class BoxedFeed(Feed):
        """A feed whose end may move."""

        def end_at(self, last: int) -> None:
            """No epochs after `last`; what was asked for beyond is not drawn."""
            self._last = last
            for order in self._orders[max(self.left, 0) :]:
                for picture in order:
                    picture.cancel()
            del self._orders[max(self.left, 0) :]

    config, began, asked = study.config, time.monotonic(), study.config.epochs
    feed = BoxedFeed(Curriculum(supply, config), config, seed=config.seed, done=0, last=asked)
    paces: list[float] = []
    with ThreadPoolExecutor(len(study.lanes)) as threads, BusyShare(study.lanes) as busy:
        bags = feed.validation()
        for lane in study.lanes:
            lane.validation = HeldOut(bags, lane.device)
        while feed.left > 0:
            start = time.monotonic()
            groups, waited = feed.next()
            if feed.all_ordered and held_out:
                order_held_out(supply, config)
            for done in [threads.submit(lane.learn, groups, waited) for lane in study.lanes]:
                done.result()
            paces.append(time.monotonic() - start)
            study.seconds, study.waited = time.monotonic() - began, feed.waited
            study.busy = {str(lane.device): busy.mean(lane.device) for lane in study.lanes}
            if seconds is not None:
                last = shortened(feed.epoch, asked, paces, seconds - study.seconds)
                if last != study.config.epochs:
                    log.info("%d of %d epochs fit, at %.1f s an epoch", last, asked, paces[-1])
                    feed.end_at(last)
                    study.config = replace(study.config, epochs=last)
                    for trainer in study.trainers.values():
                        trainer.config = replace(trainer.config, epochs=last)
            study.write()
            log.info("epoch %d/%d in %.1f s, %.1f s of it waiting for pictures; %.0f s in all", feed.epoch,
                     study.config.epochs, paces[-1], waited, study.seconds)  # fmt: skip


def build_parser() -> argparse.ArgumentParser:
    """The flags."""
    parser = argparse.ArgumentParser(prog="python tests/trials training/renderers", description=__doc__,
                                     formatter_class=argparse.RawDescriptionHelpFormatter)  # fmt: skip
    parser.add_argument("--out", type=Path, required=True, metavar="DIR", help="folder of the study")
    parser.add_argument("--seeds", default="1,2,3", metavar="A,B,..", help="of the nets (default: %(default)s)")
    parser.add_argument("--pictures-seed", type=int, default=1, metavar="N", help="of the pictures, the same for all")
    parser.add_argument("--minutes", type=float, metavar="M", help="most minutes of training, calibration not counted")
    parser.add_argument("--preset", choices=("desk", "full", "tiny"), default="full", help="net (default: full)")
    parser.add_argument("--range", nargs="*", default=[], metavar="F=V", help="fields of Range, such as finished=0")
    parser.add_argument("--variety", nargs="*", default=[], metavar="F=V", help="fields of Variety, such as fonts=0")
    for name in NUMBERS:
        said = f"{SHORT[name]} of the preset full" if name in SHORT else "the preset's"
        parser.add_argument(f"--{name}", type=int, metavar="N", help=f"as of dialtell train (default: {said})")
    begun = parser.add_mutually_exclusive_group()
    begun.add_argument("--encoder", type=Path, metavar="FILE", help="weights whose encoder the nets begin with")
    begun.add_argument("--net", type=Path, metavar="FILE", help="weights that the nets begin with, all of them")
    parser.add_argument("--rate", type=float, metavar="R", help="peak learning rate (default: the preset's)")
    parser.add_argument("--easy", type=float, metavar="S", help="share of steps on sharp dials (default: the preset's)")
    parser.add_argument("--keep", type=Path, metavar="DIR", help="keep all that is drawn, for others (see train.study)")
    parser.add_argument("--workers", type=int, default=0, metavar="N", help="drawing processes (default: one a core)")
    parser.add_argument("--device", choices=("auto", "cpu", "cuda", "mps"), help="where (default: auto)")
    return parser


def main(arguments: Sequence[str] | None = None) -> int:
    """Train and calibrate; the study's JSON on standard output."""
    args = build_parser().parse_args(arguments)
    log.setLevel(logging.INFO)
    if not log.handlers:
        log.addHandler(logging.StreamHandler(sys.stderr))
    command = "python tests/trials training/renderers " + " ".join(sys.argv[1:] if arguments is None else arguments)
    try:
        study = trained(args, command=command)
    except DialtellError as error:
        print(f"renderers: error: {error}", file=sys.stderr)
        return 1
    print(json.dumps(study.record(), indent=1))
    return 0


def trained(args: argparse.Namespace, *, command: str) -> Any:
    """The study, trained and calibrated."""
    from dialtell.train.bags.picture_folder import KeepingSupply
    from dialtell.train.bags.supply import Supply
    from dialtell.train.run.config import preset
    from dialtell.train.study.side_by_side import Study

    try:
        seeds = [int(seed) for seed in args.seeds.split(",")]
    except ValueError:
        raise ParameterError(f"seeds is {args.seeds!r}; give whole numbers with commas between") from None
    if len(set(seeds)) < len(seeds):
        raise ParameterError(f"seeds is {args.seeds!r}; give each once")
    numbers = {name: getattr(args, name) for name in NUMBERS}
    if args.preset == "full":
        numbers = {name: SHORT.get(name) if value is None else value for name, value in numbers.items()}
    numbers |= {"rate": args.rate, "easy": args.easy}
    config = preset(args.preset, seed=args.pictures_seed, device=args.device, **numbers)
    scope, missing = narrowed(config.scope, args.range, args.variety)
    if missing:
        log.warning("not in this tree, passed over: %s", ", ".join(missing))
    begun = members(seeds, config.seed, args.net or args.encoder, whole=args.net is not None)
    study = Study(replace(config, scope=scope), begun, args.out)
    study.begin()
    with KeepingSupply(args.keep, args.workers) if args.keep else Supply(args.workers) as supply:
        boxed(study, supply, None if args.minutes is None else 60.0 * args.minutes)
        study.finish(supply, command=command)
    return study


if __name__ == "__main__":
    raise SystemExit(main())
