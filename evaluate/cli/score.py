"""`dialtell score`: photographs in, a table or one JSON document out."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from dialtell.evaluate.cli.flags import (
    add_known,
    add_one_dial,
    add_photos,
    add_reading,
    add_size,
    host_port,
    known_of,
)

if TYPE_CHECKING:
    from dialtell.model.net.weights_file import Weights

DESCRIPTION = """\
Say of each photograph whether the dial in it was painted by hand or printed, or that it cannot be told: for the
dial as a whole and for its signature, numerals, minute track and seconds bit.
"""

EPILOG = """\
examples:
  dialtell score watch.jpg
  dialtell score watch.jpg --size 18
  dialtell score signature.jpg --close-up --px-per-mm 92 --size 18 --zone signature
  dialtell score watch.jpg --outline "1040 812 655 641 12" --twelve 90
  dialtell score photos/ --known photos/labels.csv
  dialtell score photos/ --csv calls.csv        goes on where it was cut off
  dialtell score archive/ --csv calls.csv --engine cluster --scheduler tcp://10.0.0.5:8786
  dialtell score whole.jpg name.jpg track.jpg --one-dial "no. 41"
  dialtell score --list sales.csv --csv calls.csv --allow-host pictures.example.org:443
  dialtell score photos/ more.png --json --out calls.json
  dialtell score watch.jpg --weights runs/desk/strokes.safetensors

The likelihood ratio (LR) is how many times more probable what is seen is on a painted dial than on a printed one;
log10 LR above 0 speaks for the hand, below 0 for print. probability_hand is stated for equal chances beforehand
(prior odds 1:1), and of no call that is withheld. Positions are in px of the photograph held upright, x to the right, y
down; axes_px are semi-axes, rotation_deg is how far 12 o'clock is turned clockwise from up in the photograph.

next_fields in the JSON is what to photograph next where a dial is not settled, the most telling place first: a square
of `width` about x, y in dial radii from the dial's middle (12 up, x to the right, y down), `pixels` across it at least,
px_per_mm where the size is known, and the reason. Give such close-ups together with the whole view and --one-dial.

A close-up that does not show where on the dial it lies is judged as one zone, "other"; where its scale is known only
roughly it is judged at three scales, and the least of the three counts.

Exit status: 0 when every photograph was read, a call of "undetermined" included; 1 when one could not be read
(the others are scored all the same); 2 wrong usage; 130 interrupted.
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Flags of the verb."""
    parser.description, parser.epilog = DESCRIPTION, EPILOG
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    add_photos(parser, required=False)
    parser.set_defaults(wrong_usage=parser.error)
    parser.add_argument(
        "--list", type=Path, metavar="FILE",
        help="further photographs, folders or addresses: a text file with one a line, or a table with a column photo",
    )  # fmt: skip
    parser.add_argument(
        "--allow-host", action="append", type=host_port, default=[], metavar="HOST:PORT",
        help="with --csv photographs may be addresses (https://..., http://..., s3://BUCKET/KEY, file:///PATH), which "
        "are brought by the processes that score; of the web only from hosts named so; may be repeated",
    )  # fmt: skip
    add_one_dial(parser)
    add_size(parser)
    add_known(parser)
    add_reading(parser)
    parser.add_argument_group("speed").add_argument(
        "--device", choices=("auto", "cpu", "cuda", "mps"), default="cpu",
        help="where the nets run; photographs are read on the processor's cores all the same (default: %(default)s)",
    )  # fmt: skip
    out = parser.add_argument_group("output")
    kind = out.add_mutually_exclusive_group()
    kind.add_argument("--json", action="store_true", help="one JSON document, schema dialtell.score/1, for the table")
    kind.add_argument(
        "--csv", type=Path, metavar="CALLS.csv",
        help="a row per photograph as soon as it is scored; given again it goes on where it was cut off",
    )  # fmt: skip
    out.add_argument("--workers", type=int, default=0, metavar="N", help="processes for --csv (default: 0, one a core)")
    out.add_argument(
        "--engine", choices=("local", "cluster"), default="local",
        help="who scores for --csv: processes here, or the workers of a Dask cluster, which must see the photographs "
        "under the same paths (extra: dialtell[cluster]; default: local)",
    )  # fmt: skip
    out.add_argument(
        "--scheduler",
        metavar="ADDRESS",
        help="of the cluster's scheduler, tcp://HOST:8786; only on a network you trust",
    )
    out.add_argument("--out", type=Path, metavar="FILE", help="write there (default: standard output)")
    out.add_argument("--overwrite", action="store_true", help="replace FILE if it exists (default: refuse)")


def run(args: argparse.Namespace) -> int:
    """Score as asked; returns the exit status."""
    import logging
    import sys

    from dialtell.evaluate import score_photos
    from dialtell.evaluate.score.addresses import listed
    from dialtell.evaluate.score.table import call_table
    from dialtell.evaluate.words.document import json_text
    from dialtell.evaluate.words.plain import terminal_width
    from dialtell.synth.shared.errors import ParameterError
    from dialtell.synth.shared.files import JSON, TEXT, require_form, require_free, write_text

    log = logging.getLogger("dialtell.score")
    if args.list is not None:
        args.photos = [*args.photos, *listed(args.list)]
    if not args.photos:
        args.wrong_usage("the following arguments are required: PHOTO, or a --list that names some")
    if args.allow_host and args.csv is None:
        raise ParameterError("--allow-host is for photographs from the web, which need --csv; give --csv too")
    if (args.engine == "cluster") != (args.scheduler is not None):
        raise ParameterError("--engine cluster and --scheduler ADDRESS go together; give both or neither")
    if args.engine == "cluster" and args.csv is None:
        raise ParameterError("--engine cluster writes rows; give --csv too")
    if args.csv is not None:
        if args.one_dial is not None:
            raise ParameterError("--csv has a row per photograph; give --one-dial with --json or alone")
        return _stream(args)
    if args.out is not None:
        require_free(args.out, overwrite=args.overwrite)  # before the work, not after it
        require_form(args.out, JSON if args.json else TEXT)
    if args.one_dial is None:
        document = score_photos(args.photos, _weights(args), known=known_of(args), progress=not args.quiet)
    else:
        document = _one_dial(args)
    errors = [(entry["photo"], entry["error"]) for entry in document["errors"]]
    if args.json:
        text = json_text(document)
    else:
        encoding = "utf-8" if args.out is not None else sys.stdout.encoding or "utf-8"
        cut = args.out is None and sys.stdout.isatty()
        text = call_table(document["dials"], errors, width=terminal_width(), cut=cut, encoding=encoding)
    if args.json or args.out is not None:  # the table on a terminal already lists them
        for _, message in errors:
            log.error("%s", message)
    if args.out is None:
        print(text)
    else:
        write_text(args.out, text + "\n", overwrite=args.overwrite)
    return 1 if errors else 0


def _weights(args: argparse.Namespace) -> Weights:
    """The weights asked for, where they are to run."""
    from dialtell.model import load_weights

    return load_weights(args.weights, args.device)


def _one_dial(args: argparse.Namespace) -> dict[str, Any]:
    """All photographs as of one dial: a document with one row."""
    from dialtell.evaluate.one_dial.dial import score_one_dial

    _, document = score_one_dial(args.photos, _weights(args), known=known_of(args), name=args.one_dial or None)
    return document


def _stream(args: argparse.Namespace) -> int:
    """Rows into --csv; the counts on standard output, what could not be read on standard error."""
    import logging

    from tqdm import tqdm

    from dialtell.evaluate.score.addresses import Source, is_address, sound
    from dialtell.evaluate.score.stream import StreamSettings, stream_calls
    from dialtell.model import load_weights
    from dialtell.model.reading.photo import walk_photos
    from dialtell.synth.shared.errors import ParameterError
    from dialtell.synth.shared.files import TABLE, require_form

    log = logging.getLogger("dialtell.score")
    if args.out is not None:
        raise ParameterError("--out and --csv are both given; --csv names the file itself")
    require_form(args.csv, TABLE)
    addresses, unsound = sound(filter(is_address, args.photos), args.allow_host)
    paths, missing = walk_photos(word for word in args.photos if not is_address(word))
    files: list[Source] = [*paths, *addresses]
    settings = StreamSettings(
        weights=args.weights, known=known_of(args), device=args.device, hosts=tuple(args.allow_host)
    )
    # what is wrong with them, or with the device, is said at once
    sha256 = str(load_weights(args.weights, args.device).identity["sha256"])
    engine = None
    if args.engine == "cluster":
        from functools import partial

        from dialtell.evaluate.score.cluster import judged_on_cluster

        engine = partial(judged_on_cluster, scheduler=args.scheduler)
    rows = stream_calls(
        files, args.csv, settings, sha256=sha256, workers=args.workers, overwrite=args.overwrite, judged=engine
    )
    failed, done = [str(error) for _, error in [*missing, *unsound]], 0
    bar = tqdm(rows, total=len(files), unit="photo", disable=True if args.quiet else None, leave=False)
    for _, error in bar:
        done += 1
        if error:
            failed.append(error)
    for message in failed:
        log.error("%s", message)
    print(f"{done} photographs scored, {len(files) - done} were there already: {args.csv}")
    return 1 if failed else 0
