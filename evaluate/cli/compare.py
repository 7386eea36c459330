"""`dialtell compare`: two dials laid on each other; does one plate fit both?"""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from dialtell.evaluate.cli.flags import add_known, add_reading, add_size, known_of_one, number, outline_text, per_mm

if TYPE_CHECKING:
    from dialtell.model.reading.known import Known

DESCRIPTION = """\
Lay two dials of one design on each other and measure what is left: two dials printed from one plate coincide but for
faults of the sheet, two painted dials never do. Says "same design, one plate fits both", "same design, drawn
separately", "different designs" or "cannot tell", with a likelihood ratio, and each dial's own call.
"""

EPILOG = """\
examples:
  dialtell compare first.jpg second.jpg
  dialtell compare first.jpg second.jpg --size 18 --out both.html
  dialtell compare seconds-a.jpg seconds-b.jpg --close-up --size 18
  dialtell compare whole.jpg seconds.jpg --close-up --whole first

log10 LR above 0 speaks for one plate, below 0 for separate drawing. Two plates cut by machine from the same artwork
fit each other, so one plate that fits both need not be one and the same plate. The size is that of both dials
(default: unknown, lengths then are in dial radii).

Close-ups are laid on each other, or on a whole dial, where an arc of the enamel's edge shows where on the dial they
lie; otherwise the finding is "cannot tell". Two parts that stray were drawn separately; two
parts that coincide are not enough to say that one plate fits both.

Exit status: 0 when both photographs were read, whatever the finding; 1 when one was not; 2 wrong usage; 130
interrupted.
"""


WHICH = ("first", "second")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Flags of the verb."""
    parser.description, parser.epilog = DESCRIPTION, EPILOG
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.add_argument("first", metavar="A", help="photograph of one dial")
    parser.add_argument("second", metavar="B", help="photograph of the other")
    add_size(parser)
    add_known(parser)
    parser.add_argument(
        "--whole",
        choices=WHICH,
        help="with --close-up or --px-per-mm: this one shows the whole dial (default: both are close-ups)",
    )
    second = parser.add_argument_group(
        "of the second photograph", "Where it differs; --outline, --twelve and --place are of the first alone."
    )
    second.add_argument(
        "--px-per-mm-second", type=per_mm, metavar="N",
        help="scale of the second close-up, if it differs from --px-per-mm (default: the same)",
    )  # fmt: skip
    second.add_argument(
        "--outline-second", type=outline_text, metavar='"CX CY A B DEGREES"', help="its outline (default: looked for)"
    )
    second.add_argument(
        "--twelve-second", type=number(-360, 360, "degrees"), metavar="DEGREES",
        help="where its 12 o'clock stands (default: read from the minute track)",
    )  # fmt: skip
    add_reading(parser)
    out = parser.add_argument_group("output")
    out.add_argument(
        "--out", type=Path, metavar="FILE.html", help="also write a page: both side by side, and zone by zone"
    )
    out.add_argument("--overwrite", action="store_true", help="replace the page if it exists (default: refuse)")
    out.add_argument("--json", action="store_true", help="print one JSON document, schema dialtell.compare/1")


def _known(args: argparse.Namespace) -> tuple[Known, Known]:
    """What the flags say of each photograph; ParameterError when they contradict each other."""
    from dialtell.synth.shared.errors import ParameterError

    part = args.close_up or args.pixels_per_mm is not None or args.px_per_mm_second is not None
    if args.whole is not None and not part:
        raise ParameterError(f"--whole {args.whole} is given without a close-up; add --close-up, or leave it out")
    if args.whole == "second" and args.px_per_mm_second is not None:
        raise ParameterError("--px-per-mm-second and --whole second are both given; leave one out")
    first = known_of_one(args, args.first)
    args.outline, args.twelve_deg, args.places = args.outline_second, args.twelve_second, None
    args.pixels_per_mm = args.pixels_per_mm if args.px_per_mm_second is None else args.px_per_mm_second
    second = known_of_one(args, args.second)
    return (
        first.whole() if args.whole == "first" else first,
        second.whole() if args.whole == "second" else second,
    )


def run(args: argparse.Namespace) -> int:
    """Compare as asked; returns the exit status."""
    import logging
    import os
    import textwrap

    from dialtell.evaluate import compare_photos
    from dialtell.evaluate.compare.page import write_comparison
    from dialtell.evaluate.words.cautions import CLOSING
    from dialtell.evaluate.words.document import json_text
    from dialtell.model import load_weights
    from dialtell.synth.shared.files import PAGE, require_form, require_free

    if args.out is not None:
        require_form(args.out, PAGE)
        require_free(args.out, overwrite=args.overwrite)
    compared = compare_photos(
        args.first,
        args.second,
        load_weights(args.weights),
        known=_known(args),
    )
    if os.path.realpath(args.first) == os.path.realpath(args.second):
        logging.getLogger("dialtell.compare").warning("both are %s; a photograph always fits itself", args.first)
    if args.out is not None:
        write_comparison(args.out, compared, overwrite=args.overwrite)
    if args.json:
        print(json_text(compared.document))
        return 0
    document = compared.document
    ratio = "" if document["log10_lr"] is None else f" (log10 LR {document['log10_lr']:+.2f}, {document['support']})"
    print(f"{document['finding']}{ratio}")
    for text in (document["reason"], document["process"]):
        print(textwrap.fill(text, 100, initial_indent="    ", subsequent_indent="    "))
    if document["zones"]:
        print(f"    {'zone':<14}{'places':>8}{'matched':>9}{'stray':>14}")
    for row in document["zones"]:
        stray = "too few" if row["stray_radii"] is None else f"{row['stray_radii']:.5f} radii"
        if row["stray_mm"] is not None:
            stray = f"{row['stray_mm']:.3f} mm"
        print(f"    {row['zone']:<14}{row['places']:>8}{row['matched']:>9}{stray:>14}")
    print(textwrap.fill(CLOSING, 100))
    return 0
