"""`dialtell collection`: many dials in one file, with every call made of them and what their owner knows."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from dialtell.evaluate.cli.flags import add_known, add_one_dial, add_reading, add_size, known_of, number, whole
from dialtell.synth.shared.progress import watched
from dialtell.synth.shared.sizes import LARGEST_MM, SMALLEST_MM

if TYPE_CHECKING:
    from dialtell.evaluate.collection.file import CollectionFile, Entry

CALLS = ("hand-painted", "printed", "undetermined")
ZONES = ("signature", "numerals", "minute track", "seconds bit", "other")

DESCRIPTION = """\
Keep many dials in one file: their photographs by hash, every call with the weights that made it, the owner's fields
(maker, serial, year, size, notes) and labels. The photographs stay where they are.
"""

EPILOG = """\
examples:
  dialtell collection add dials.collection photos/
  dialtell collection add dials.collection whole.jpg name.jpg --one-dial "no. 41"
  dialtell collection set dials.collection 12 --maker "Invented & Sons" --year 1884 --size-mm 44.9
  dialtell collection list dials.collection --call hand-painted --decade 1880
  dialtell collection page dials.collection --out dials.html
  dialtell collection plates dials.collection           dials that one plate may have made
  dialtell collection rescore dials.collection          after new weights; older calls stay in the history
  dialtell collection export dials.collection --csv dials.csv

Results go to standard output, with --json as one document (default: a few words).
Two programs may add to one file at once. `add` run again goes on where it was cut off.

Exit status: 0 done, 1 something could not be done (the rest is), 2 wrong usage, 130 interrupted.
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Flags of the verb and of what it does."""
    parser.description, parser.epilog = DESCRIPTION, EPILOG
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    below = parser.add_subparsers(dest="act", metavar="ACT", title="acts")
    parser.set_defaults(help_text=parser.format_help)

    def act(name: str, line: str) -> argparse.ArgumentParser:
        sub = below.add_parser(name, help=line, description=line[:1].upper() + line[1:] + ".", allow_abbrev=False)
        sub.add_argument("collection", type=Path, metavar="COLLECTION", help="the collection's file")
        return sub

    add = act("add", "add photographs, or folders of them, and score them")
    add.add_argument("photos", nargs="+", metavar="PHOTO", help="photograph, or a folder to be searched downwards")
    add_size(add)
    add_known(add)
    add_reading(add)
    add_one_dial(add)
    add.add_argument("--json", action="store_true", help="print one JSON document")
    again = act("rescore", "score all photographs with other weights, keeping the older calls")
    add_reading(again)
    again.add_argument("--json", action="store_true", help="print one JSON document")
    for name, line in (("list", "list dials"), ("page", "write a page of dials by decade")):
        sub = act(name, line)
        _add_choice(sub)
        if name == "list":
            sub.add_argument("--json", action="store_true", help="print one JSON document")
        else:
            sub.add_argument("--out", type=Path, required=True, metavar="FILE.html", help="the page")
            sub.add_argument("--overwrite", action="store_true", help="replace the page if it exists")
            sub.add_argument(
                "--inspections", type=Path, metavar="DIR",
                help="folder of inspection pages to link to; those missing are made (default: no links)",
            )  # fmt: skip
            sub.add_argument(
                "--pair-pages", type=Path, metavar="DIR",
                help="folder that `plates --pages` wrote, to link its pairs to (default: no links)",
            )  # fmt: skip
            add_reading(sub)
    plates = act("plates", "find dials that one plate may have made")
    plates.add_argument(
        "--most", type=whole(0, 1_000_000), default=200, metavar="N",
        help="pairs laid on each other now, some 2 s each; run again to go on (default: %(default)s; 0: only list)",
    )  # fmt: skip
    plates.add_argument(
        "--most-each", type=whole(1, 100), default=5, metavar="N",
        help="dials of like layout that each dial is laid on (default: %(default)s)",
    )  # fmt: skip
    plates.add_argument(
        "--pages", type=Path, metavar="DIR",
        help="folder for a page of each pair listed that is of one design; those there are kept (default: none)",
    )  # fmt: skip
    plates.add_argument("--all", action="store_true", help="list pairs drawn separately, or of different designs, too")
    add_reading(plates)
    plates.add_argument("--json", action="store_true", help="print one JSON document")
    show = act("show", "show one dial with its history, labels and dials that look the same")
    show.add_argument("number", type=int, metavar="ID", help="its number, see `list`")
    show.add_argument("--json", action="store_true", help="print one JSON document")
    fields = act("set", "set what the owner knows of a dial")
    fields.add_argument("number", type=int, metavar="ID", help="its number, see `list`")
    fields.add_argument("--maker", metavar="TEXT", help="as signed")
    fields.add_argument("--serial", metavar="TEXT", help="number of the movement")
    fields.add_argument("--year", type=whole(1700, 2100), metavar="YEAR", help="the movement was made")
    fields.add_argument(
        "--size-mm", type=number(SMALLEST_MM, LARGEST_MM, "mm"), metavar="MM", help="diameter of the dial"
    )
    fields.add_argument("--notes", metavar="TEXT", help="an empty text empties a field")
    fields.add_argument("--label", metavar="LABEL", help="painted, printed, mixed or cannot tell, of --zone")
    fields.add_argument("--zone", choices=("dial", *ZONES), default="dial", help="that --label is of (default: dial)")
    fields.add_argument("--basis", choices=("by eye", "record", "examined object"), default="by eye", help="of --label")
    export = act("export", "write the collection as CSV or JSON")
    kind = export.add_mutually_exclusive_group(required=True)
    kind.add_argument("--csv", type=Path, metavar="FILE", help="a row per dial")
    kind.add_argument(
        "--json", type=Path, metavar="FILE", help="everything but thumbnails, history and labels included"
    )
    export.add_argument("--overwrite", action="store_true", help="replace the file if it exists")
    act("check", "check that the file is sound and its photographs are where they were")


def _add_choice(parser: argparse.ArgumentParser) -> None:
    group = parser.add_argument_group("which dials (default: all)")
    group.add_argument("--call", choices=CALLS, help="of the dial, or of --zone")
    group.add_argument("--zone", choices=ZONES, help="that --call and --least-support are about")
    group.add_argument("--decade", type=whole(1700, 2100), metavar="YEAR", help="such as 1880")
    group.add_argument(
        "--least-support",
        type=number(0.0, 100.0),
        metavar="X",
        help="smallest size of the log10 likelihood ratio, such as 1",
    )
    group.add_argument("--words", metavar="TEXT", help="in maker, serial, notes or path")


def run(args: argparse.Namespace) -> int:
    """Do as asked; returns the exit status. Without an act the help is printed."""
    from dialtell.evaluate.collection.file import CollectionFile

    if args.act is None:
        print(args.help_text(), end="")
        return 0

    with CollectionFile(args.collection, create=args.act == "add") as collection:
        return ACTS[args.act](collection, args)


def _add(collection: CollectionFile, args: argparse.Namespace) -> int:
    from dialtell.evaluate.collection.add import AddedPhoto, add_dial, add_photos
    from dialtell.model.net.weights_file import load_weights
    from dialtell.model.reading.photo import walk_photos
    from dialtell.synth.shared.errors import ParameterError

    if args.one_dial == "":
        raise ParameterError("a dial in a collection needs a name; give --one-dial NAME after the photographs")

    files, missing = walk_photos(args.photos)
    weights = load_weights(args.weights)
    outcomes = [AddedPhoto(path, "failed", str(error)) for path, error in missing]
    if args.one_dial is not None:
        return _report(
            collection, args, [*outcomes, *add_dial(collection, files, weights, args.one_dial, known=known_of(args))]
        )
    done = add_photos(collection, files, weights, known=known_of(args))
    return _report(collection, args, [*outcomes, *watched(done, len(files), quiet=args.quiet)])


def _rescore(collection: CollectionFile, args: argparse.Namespace) -> int:
    from dialtell.evaluate.collection.add import rescore
    from dialtell.model.net.weights_file import load_weights

    done = rescore(collection, load_weights(args.weights), max_pixels=args.max_pixels)
    return _report(collection, args, list(watched(done, collection.counts()["photographs"], quiet=args.quiet)))


def _report(collection: CollectionFile, args: argparse.Namespace, outcomes: list[Any]) -> int:
    import logging

    from dialtell.evaluate.words.document import json_text
    from dialtell.evaluate.words.plain import plain_name

    log = logging.getLogger("dialtell.collection")
    failed = [outcome for outcome in outcomes if outcome.outcome == "failed"]
    for outcome in failed:
        log.error("%s", plain_name(outcome.error))
    counts = {name: sum(o.outcome == name for o in outcomes) for name in ("added", "known", "failed")}
    if args.json:
        rows = [{"photo": str(o.path), "outcome": o.outcome, "error": o.error} for o in outcomes]
        print(json_text({"schema": "dialtell.collection/1", "counts": counts, "photographs": rows}))
    else:
        print(
            f"{counts['added']} scored, {counts['known']} known already, {counts['failed']} not read; "
            f"{collection.path} holds {collection.counts()['photographs']} photographs"
        )
    return 1 if failed else 0


def _chosen(collection: CollectionFile, args: argparse.Namespace) -> list[Entry]:
    from dialtell.evaluate.collection.table import Choice

    choice = Choice(
        args.call, args.zone, None if args.decade is None else args.decade // 10 * 10, args.least_support, args.words
    )
    return [entry for entry in collection.entries() if choice.takes(entry)]


def _list(collection: CollectionFile, args: argparse.Namespace) -> int:
    import sys

    from dialtell.evaluate.collection.table import SCHEMA, list_text, record_of
    from dialtell.evaluate.words.document import json_text
    from dialtell.evaluate.words.plain import closing_text, plain_name, terminal_width

    entries = _chosen(collection, args)
    if args.json:
        records = [record_of(entry) for entry in entries]
        print(json_text({"schema": SCHEMA, "dials": records, "of_several_photographs": collection.dials()}))
    else:
        print(list_text(entries, width=terminal_width() if sys.stdout.isatty() else None))
        for one in collection.dials():
            print(f"{plain_name(one['name'])}: {_opinion(one)}")
        if entries:
            print(closing_text(terminal_width()))
    return 0


def _opinion(dial: dict[str, Any]) -> str:
    """One dial of several photographs in a few words."""
    ratio = "" if dial["log10_lr"] is None else f" {dial['log10_lr']:+.2f}"
    numbers = ", ".join(f"{part['photo']} {part['role']}" for part in dial["photographs"])
    return f"{dial['call']}{ratio} from its photographs together ({numbers})"


def _show(collection: CollectionFile, args: argparse.Namespace) -> int:
    from dialtell.evaluate.collection.near_duplicates import ALIKE, distance
    from dialtell.evaluate.collection.table import SCHEMA, record_of
    from dialtell.evaluate.words.document import json_text
    from dialtell.evaluate.words.plain import plain_name

    entry = collection.entry(args.number)
    record = record_of(entry, collection)
    record["looks_the_same"] = [
        other.id
        for other in collection.entries()
        if other.id != entry.id
        and other.likeness and entry.likeness and distance(other.likeness, entry.likeness) <= ALIKE
    ]  # fmt: skip
    if args.json:
        print(json_text({"schema": SCHEMA, "dial": record}))
        return 0
    for name in (
        "id",
        "photo",
        "maker",
        "serial",
        "year",
        "size_mm",
        "notes",
        "call",
        "log10_lr",
        "support",
        "weights",
    ):
        if record[name] is not None:
            print(f"{name.replace('_', ' '):<12}{plain_name(record[name])}")
    if not entry.path.is_file():
        print(f"{'note':<12}the photograph is no longer at this place; add it again from its new one")
    for call in record["history"]:
        ratio = "" if call["log10_lr"] is None else f" {call['log10_lr']:+.2f}"
        print(f"{'called':<12}{call['made_at'][:10]} by {plain_name(call['weights'])}: {call['call']}{ratio}")
    for one in collection.dials():
        if any(part["photo"] == entry.id for part in one["photographs"]):
            print(f"{'dial':<12}{plain_name(one['name'])}: {_opinion(one)}")
    for label in record["labels"]:
        print(f"{'labelled':<12}{label['zone']}: {label['label']} ({label['basis']})")
    for other in record["looks_the_same"]:
        print(f"{'looks like':<12}{other}")
    return 0


def _set(collection: CollectionFile, args: argparse.Namespace) -> int:
    from dialtell.evaluate.collection.file import FIELDS
    from dialtell.synth.shared.errors import ParameterError

    given = {name: getattr(args, name) for name in FIELDS if getattr(args, name) is not None}
    if not given and args.label is None:
        raise ParameterError("nothing to set; give --maker, --serial, --year, --size-mm, --notes or --label")
    if given:
        collection.set_fields(args.number, {name: None if value == "" else value for name, value in given.items()})
    if args.label is not None:
        collection.set_label(args.number, args.zone, args.label, args.basis)
    return 0


def _export(collection: CollectionFile, args: argparse.Namespace) -> int:
    from dialtell.evaluate.collection.table import SCHEMA, csv_text, record_of
    from dialtell.evaluate.words.document import json_text
    from dialtell.synth.shared.files import JSON, TABLE, require_form, write_text

    if args.csv is not None:
        require_form(args.csv, TABLE)
        write_text(args.csv, csv_text(collection.entries(), collection), overwrite=args.overwrite)
    else:
        require_form(args.json, JSON)
        records = [record_of(entry, collection) for entry in collection.entries()]
        write_text(args.json, json_text({"schema": SCHEMA, "dials": records}) + "\n", overwrite=args.overwrite)
    return 0


def _page(collection: CollectionFile, args: argparse.Namespace) -> int:
    from dialtell.evaluate.collection.file import now
    from dialtell.evaluate.collection.linked_pages import inspection_links, linked_pairs
    from dialtell.evaluate.collection.page import page_text
    from dialtell.model.net.weights_file import load_weights
    from dialtell.synth.shared.files import PAGE, require_form, require_free, write_text

    require_form(args.out, PAGE)
    require_free(args.out, overwrite=args.overwrite)
    entries = _chosen(collection, args)
    links: dict[int, str] = {}
    failed = 0
    if args.inspections is not None:
        links, failed = inspection_links(
            entries, args.inspections, args.out, load_weights(args.weights), max_pixels=args.max_pixels,
            quiet=args.quiet,
        )  # fmt: skip
    labels = {entry.id: found for entry in entries if (found := collection.labels(entry.id))}
    pairs = linked_pairs(collection, entries, args.pair_pages, args.out)
    text = page_text(
        entries, args.collection.name, links, pairs=pairs, labels=labels, made=f"{now()[:16].replace('T', ' ')} UTC"
    )
    write_text(args.out, text, overwrite=args.overwrite)
    return 1 if failed else 0


def _plates(collection: CollectionFile, args: argparse.Namespace) -> int:
    import logging

    from dialtell.evaluate.collection.linked_pages import make_pair_pages
    from dialtell.evaluate.collection.plates import lay_pairs, propose
    from dialtell.evaluate.collection.table import SCHEMA, pairs_for_readers, pairs_text
    from dialtell.evaluate.words.document import json_text
    from dialtell.evaluate.words.plain import plain_name
    from dialtell.model.net.weights_file import load_weights
    from dialtell.synth.shared.errors import DialtellError

    log = logging.getLogger("dialtell.collection")
    entries = {entry.id: entry for entry in collection.entries()}
    faults: list[DialtellError] = []
    laid = 0
    if args.most:
        proposed, gone = propose(entries.values(), most_each=args.most_each)
        faults += gone
        reader = load_weights(args.weights).reader
        work = lay_pairs(collection, proposed, most=args.most, max_pixels=args.max_pixels, reader=reader)
        for done in watched(work, min(args.most, len(proposed)), quiet=args.quiet):
            if isinstance(done, DialtellError):
                faults.append(done)
            else:
                laid += 1
    rows = pairs_for_readers(collection.pairs(), entries.__getitem__, all_findings=args.all)
    if args.pages is not None:
        faults += make_pair_pages(
            rows, entries, args.pages, load_weights(args.weights), max_pixels=args.max_pixels, quiet=args.quiet
        )
    for fault in faults:
        log.error("%s", plain_name(str(fault)))
    if args.json:
        print(json_text({"schema": SCHEMA, "laid": laid, "pairs": rows, "errors": [str(fault) for fault in faults]}))
    else:
        print(pairs_text(rows, laid))
    return 1 if faults else 0


def _check(collection: CollectionFile, args: argparse.Namespace) -> int:
    from dialtell.evaluate.words.plain import plain_name

    said = collection.faults()
    moved = [entry for entry in collection.entries() if not entry.path.is_file()]
    said += [f"{entry.id}: {entry.path} is no longer there; add it again from its new place" for entry in moved]
    for line in said:
        print(plain_name(line))
    if not said:
        counts = collection.counts()
        print(f"sound: {counts['photographs']} photographs, {counts['calls']} calls, {counts['labels']} labels")
    return 1 if said else 0


ACTS: dict[str, Callable[[CollectionFile, argparse.Namespace], int]] = {
    "add": _add, "rescore": _rescore, "list": _list, "show": _show, "set": _set, "export": _export, "page": _page,
    "plates": _plates, "check": _check,
}  # fmt: skip
