"""`dialtell draw`: draw sets of dials with their truth, redraw and compare them, and pages to look at."""

from __future__ import annotations

import argparse
import os
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import TypeVar

J = TypeVar("J")
R = TypeVar("R")

PROCESSES = ("hand", "transfer", "photographic", "mixed")

EPILOG = """\
examples:
  dialtell draw --count 12 --seed 1 --out dials --sheet dials.png    twelve dials, half of them painted
  dialtell draw --count 4 --seed 1 --out twins --twins --masks       each under every process, with label masks
  dialtell draw --count 9 --seed 1 --out pulls --plates 3 --process transfer
  dialtell draw --check dials/manifest.jsonl                         redraw every line and compare
  dialtell draw --cues cues.png                                      what each parameter of a stroke does

Pictures depend on seed, index and settings, never on the number of workers. An interrupted run goes on when the
same command is given again. With --masks, NAME.LABEL.png beside NAME.png is an 8-bit grey mask (255: the pixel
is covered) of all strokes and of each of fading, overshoot, gap, pool, retouch, grain and guide that occurs.
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Flags of the verb."""
    parser.epilog = EPILOG
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    what = parser.add_argument_group("what to draw")
    what.add_argument("--count", type=int, default=12, metavar="N", help="number of dials (default: 12)")
    what.add_argument("--seed", type=int, default=1, metavar="S", help="of the set (default: 1)")
    what.add_argument("--process", choices=PROCESSES, help="of every dial (default: half painted, half printed)")
    what.add_argument("--twins", action="store_true", help="every dial under each process, all else equal")
    what.add_argument("--plates", type=int, default=0, metavar="K", help="pull all dials from the first K plates")
    what.add_argument("--jitter", type=float, default=1.0, metavar="X", help="factor on the hand, 0..4 (default: 1)")
    what.add_argument(
        "--pixels-per-radius", type=float, nargs=2, metavar=("LO", "HI"), help="scale in px (default: 90 900)"
    )
    what.add_argument("--max-side", type=int, metavar="PX", help="longest side of a picture (default: 1400)")
    what.add_argument("--masks", action="store_true", help="write label masks beside the pictures")
    where = parser.add_argument_group("where to")
    where.add_argument("--out", metavar="DIR", help="folder for the pictures and manifest.jsonl")
    where.add_argument("--sheet", metavar="FILE", help="also a sheet of the set to look at (PNG)")
    where.add_argument("--cues", metavar="FILE", help="a page of every cue at several strengths (PNG)")
    where.add_argument("--overwrite", action="store_true", help="draw anew over what is there")
    how = parser.add_argument_group("how")
    how.add_argument("--workers", type=int, metavar="N", help="rendering processes (default: one per core)")
    how.add_argument("--check", metavar="MANIFEST", help="redraw every line of a manifest, compare, and stop")
    parser.add_argument("--json", action="store_true", help="print one JSON document")


def run(args: argparse.Namespace) -> int:
    """Draw or check as asked; returns the exit code. Raises DialtellError with a message for the user."""
    from dialtell.synth.shared.errors import ParameterError, require_range

    workers = args.workers if args.workers is not None else _cores()
    require_range("workers", workers, 1, 1024)
    quiet = getattr(args, "quiet", False)  # a flag of the whole command line, not of this verb
    if args.check:
        if args.out or args.cues or args.sheet:
            raise ParameterError("check is given with out, sheet or cues; it only compares, so leave them out")
        return _check(Path(args.check), workers, as_json=args.json, quiet=quiet)
    if not args.out and not args.cues:
        raise ParameterError("out is missing; give --out DIR for a set of dials, or --cues FILE for the page of cues")
    if args.sheet and not args.out:
        raise ParameterError("sheet is given without a set; add --out DIR")
    report: dict[str, object] = {"schema": "dialtell.draw/1"}
    pages = {name: _page(getattr(args, name)) for name in ("sheet", "cues") if getattr(args, name)}
    if args.out:
        report |= _draw(args, workers, pages.get("sheet"), quiet=quiet)
    if args.cues:
        from dialtell.synth.sets.cue_page import cue_page
        from dialtell.synth.sets.manifest import png
        from dialtell.synth.shared.files import write_whole

        write_whole(pages["cues"], png(cue_page()), overwrite=args.overwrite)
        report["cues"] = str(pages["cues"])
    _tell(report, as_json=args.json)
    return 0


def _page(name: str) -> Path:
    """The place of a page, looked at before the work begins."""
    from dialtell.synth.shared.errors import OutputError

    path = Path(name)
    if path.suffix.lower() != ".png":
        raise OutputError(f"{path} is not named as a PNG; give a name that ends in .png")
    if not path.parent.is_dir():
        raise OutputError(f"{path.parent} is not a folder; make it or give another place for {path.name}")
    return path


def _draw(args: argparse.Namespace, workers: int, sheet: Path | None, *, quiet: bool) -> dict[str, object]:
    from collections import Counter
    from functools import partial

    from dialtell.synth.scene import Range
    from dialtell.synth.sets.contact_sheet import sheet_of
    from dialtell.synth.sets.dial_set import DialSet
    from dialtell.synth.sets.manifest import MANIFEST, draw_picture, png
    from dialtell.synth.sets.set_folder import SetFolder, digest
    from dialtell.synth.shared.files import write_whole
    from dialtell.synth.shared.progress import progress

    chosen = {"jitter": args.jitter, "max_side": args.max_side}
    if args.pixels_per_radius:
        chosen["pixels_per_radius"] = (float(args.pixels_per_radius[0]), float(args.pixels_per_radius[1]))
    scope = Range(**{name: value for name, value in chosen.items() if value is not None})
    dials = DialSet(
        count=args.count, seed=args.seed, process=args.process, twins=args.twins, plates=args.plates,
        masks=args.masks, scope=scope,
    )  # fmt: skip
    with SetFolder(Path(args.out), dials, overwrite=args.overwrite) as folder:
        missing = folder.missing()
        pictures = list(dials.pictures())
        finished = len(dials) - len(missing)

        def reached() -> str:
            return f"{len(folder.lines)} of {len(dials)} dials in {folder.path} are finished"

        with progress(len(dials), unit="dial", done=finished, quiet=quiet, reached=reached) as bar:
            fresh = _in_order(partial(draw_picture, dials), (pictures[number] for number in missing), workers)
            for number, drawn in zip(missing, fresh, strict=True):
                folder.put(number, drawn)
                bar.update()
        lines = folder.lines
    report: dict[str, object] = {
        "out": args.out,
        "manifest": str(Path(args.out) / MANIFEST),
        "sha256": digest(Path(args.out)),
        "dials": len(lines),
        "drawn": len(missing),
        "kept": finished,
        "processes": dict(Counter(str(line["process"]) for line in lines)),
    }
    if sheet is not None:
        write_whole(sheet, png(sheet_of(lines, Path(args.out))), overwrite=args.overwrite)
        report["sheet"] = str(sheet)
    return report


def _check(path: Path, workers: int, *, as_json: bool, quiet: bool) -> int:
    import json
    import sys
    from functools import partial

    from tqdm import tqdm

    from dialtell.synth.sets.manifest import faults_of, read_manifest

    lines = read_manifest(path)
    results = _in_order(partial(faults_of, folder=path.parent), lines, workers)
    faults = []
    for found in tqdm(results, total=len(lines), unit="dial", disable=True if quiet else None, file=sys.stderr):
        faults += found
    if as_json:
        print(json.dumps({"schema": "dialtell.draw/1", "manifest": str(path), "dials": len(lines), "faults": faults}))
    else:
        for fault in faults:
            print(fault)
        print(f"{len(lines)} dials of {path} redrawn: {f'{len(faults)} faults' if faults else 'all as recorded'}")
    return 1 if faults else 0


def _tell(report: dict[str, object], *, as_json: bool) -> None:
    if as_json:
        import json

        print(json.dumps(report))
        return
    parts = []
    if "out" in report:
        processes = report["processes"]
        assert isinstance(processes, dict)
        share = ", ".join(f"{number} {name}" for name, number in sorted(processes.items()))
        parts.append(
            f"{report['dials']} dials ({share}) in {report['out']}: {report['drawn']} drawn, {report['kept']} kept"
        )
    parts += [f"{name}: {report[name]}" for name in ("sheet", "cues") if name in report]
    print("; ".join(parts))


def _cores() -> int:
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def _in_order(function: Callable[[J], R], jobs: Iterable[J], workers: int) -> Iterator[R]:
    from dialtell.synth.shared.errors import DialtellError
    from dialtell.synth.shared.workers import WorkerDied, in_order

    try:
        yield from in_order(function, jobs, workers)
    except WorkerDied as error:
        raise DialtellError(
            "a rendering process was killed, perhaps for want of memory; run again with fewer --workers or a "
            "smaller --max-side"
        ) from error
