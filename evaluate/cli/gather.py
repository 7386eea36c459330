"""`dialtell gather`: public-domain photographs of watches from museums, with where each came from."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from dialtell.evaluate.cli.flags import host_port, number, whole
from dialtell.model.reading.known import MAX_PIXELS

if TYPE_CHECKING:
    from dialtell.evaluate.museum.records import Record
    from dialtell.evaluate.museum.web import Web

MUSEUM_NAMES = ("met", "cleveland", "chicago", "smithsonian", "commons")

DESCRIPTION = """\
Download public-domain photographs of watches from museums into a folder, one after another and slowly, with a
manifest.csv that says of each file where it came from, under what licence, and what the museum knows of the object.
The records are those of a table, those that come with dialtell, or what a museum's own search finds. With --judged it
brings the photographs that dialtell has labels for, and writes these beside them as labels.csv.
"""

EPILOG = """\
examples:
  dialtell gather --out photographs                               the records that come with dialtell
  dialtell gather mine.csv --out photographs --first 1            your table, the first photograph of each object
  dialtell gather --judged --out judged                           photographs with labels of ours,
  dialtell benchmark judged/labels.csv                            measured
  dialtell gather --search "pocket watch" --museum met --list > found.csv     look first, strike out lines,
  dialtell gather found.csv --out photographs                                 then fetch the rest

A table is CSV in UTF-8; `dialtell gather --list` prints one to start from. It needs the columns licence and image_url.
Where sha256 is given, only that file will do; one that lies in the folder under any name is not fetched.
An interrupted run goes on when the same command is given again; whole files are not fetched twice. A file that was
changed since is set aside as NAME.SHA.changed and fetched anew.

Licences are judged image by image: public domain and CC0 are taken, all else is refused unless named with
--allow-licence, and then its attribution is kept in the manifest. Museums' statements are taken at their word.

Most photographs show the case, the movement or a dial that is no white enamel one, and no record says how a dial was
made: look at each and label it yourself. The museums' services were coded from their published notes and have not been
tried live. Only public addresses are asked, through no proxy.

Exit status: 0 when every photograph wanted is there (refused ones are not wanted); 1 when one could not be had; 2
wrong usage; 130 interrupted.
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Flags of the verb."""
    parser.description, parser.epilog = DESCRIPTION, EPILOG
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    what = parser.add_argument_group("what to gather")
    source = what.add_mutually_exclusive_group()
    source.add_argument("records", nargs="?", type=Path, metavar="RECORDS.csv", help="table (default: dialtell's own)")
    source.add_argument("--search", metavar="WORDS", help="ask museums instead of a table")
    source.add_argument(
        "--judged", action="store_true", help="the photographs dialtell has labels for, with the labels"
    )
    what.add_argument(
        "--museum", action="append", choices=MUSEUM_NAMES, help="to search; may be repeated (default: met)"
    )
    what.add_argument(
        "--limit", type=whole(1, 10_000), default=50, metavar="N",
        help="most objects from each museum searched (default: %(default)s)",
    )  # fmt: skip
    what.add_argument(
        "--first", type=whole(1, 1000), metavar="N", help="only the first N photographs of each object (default: all)"
    )
    what.add_argument(
        "--allow-licence", action="append", default=[], metavar="NAME",
        help='take this licence too, such as "CC BY-SA 4.0"; may be repeated (default: public domain and CC0 only)',
    )  # fmt: skip
    where = parser.add_argument_group("where to")
    to = where.add_mutually_exclusive_group(required=True)
    to.add_argument("--out", type=Path, metavar="DIR", help="folder for photographs and manifest.csv, made if missing")
    to.add_argument("--list", action="store_true", help="print the records as a table and fetch no photograph")
    where.add_argument("--json", action="store_true", help="print one JSON document, schema dialtell.gather/1")
    how = parser.add_argument_group("how")
    how.add_argument(
        "--delay", type=number(0, 3600), default=1.0, metavar="S",
        help="least pause between requests to one host, s (default: %(default)s)",
    )  # fmt: skip
    how.add_argument(
        "--retries", type=whole(0, 10), default=4, metavar="N",
        help="further tries when a server is busy or silent (default: %(default)s)",
    )  # fmt: skip
    how.add_argument(
        "--timeout",
        type=number(0.1, 600),
        default=30.0,
        metavar="S",
        help="wait for a server, s (default: %(default)s)",
    )
    how.add_argument(
        "--max-megabytes", type=number(0.001, 10_000), default=60.0, metavar="MB",
        help="largest file, millions of bytes (default: %(default)s)",
    )  # fmt: skip
    how.add_argument(
        "--max-pixels", type=whole(1, 10**9), default=MAX_PIXELS, metavar="N",
        help="largest photograph, width times height (default: %(default)s)",
    )  # fmt: skip
    how.add_argument(
        "--contact", type=_contact, default="", metavar="TEXT",
        help="your mail address or page, told to the servers; Wikimedia asks for one (default: none)",
    )  # fmt: skip
    how.add_argument(
        "--api-key",
        default="",
        metavar="KEY",
        help="for the Smithsonian (default: its demonstration key, a few requests)",
    )
    how.add_argument(
        "--allow-host", action="append", type=host_port, default=[], metavar="HOST:PORT",
        help="ask this address although it is not public; for tests and servers of your own (default: none)",
    )  # fmt: skip


def run(args: argparse.Namespace) -> int:
    """Gather as asked; returns the exit status. Raises DialtellError."""
    import logging
    from importlib import metadata

    from dialtell.evaluate.benchmark.judged import TABLE, judged_text, require_own_labels, write_judged_labels
    from dialtell.evaluate.museum.licence import allowed_licences
    from dialtell.evaluate.museum.records import parse_records, read_records, records_text, shipped_records
    from dialtell.evaluate.museum.web import Web
    from dialtell.evaluate.museum.web_address import DownloadError
    from dialtell.evaluate.words.document import json_text
    from dialtell.synth.shared.errors import ParameterError

    log = logging.getLogger("dialtell.gather")
    if args.list and args.json:
        raise ParameterError("list is given with json; it prints a table, so leave one of them out")
    if args.museum and args.search is None:
        raise ParameterError('museum is given without search; add --search "words"')
    if args.search is not None and not args.search.strip():
        raise ParameterError('search is empty; give words, such as "pocket watch"')
    allowed = allowed_licences(args.allow_licence)
    web = Web(
        delay_s=args.delay,
        retries=args.retries,
        timeout_s=args.timeout,
        contact=args.contact,
        version=metadata.version("dialtell"),
        allow=args.allow_host,
    )
    unanswered: list[str] = []
    if args.search is not None:
        from dialtell.evaluate.museum.search import MUSEUMS, search_museum

        records: list[Record] = []
        for name in dict.fromkeys(args.museum or ["met"]):
            log.info("%s: searching, with pauses of %g s", name, args.delay)
            try:
                found = search_museum(
                    MUSEUMS[name], args.search, web, limit=args.limit, allowed=allowed,
                    key=args.api_key if MUSEUMS[name].keyed else "",
                )  # fmt: skip
            except DownloadError as error:
                log.error("%s: %s", name, error)
                unanswered.append(name)
                continue
            log.info("%s: %d objects with free photographs", name, len(found))
            records += found
    elif args.judged:
        records = parse_records(judged_text(), TABLE)
    else:
        records = read_records(args.records) if args.records is not None else shipped_records()
    if args.list:
        print(records_text(records), end="")
        return 1 if unanswered else 0
    if args.judged:
        require_own_labels(args.out)
    report, files = _gather(args, records, web, allowed)
    labels = write_judged_labels(args.out, files) if args.judged else None
    report["labels"] = None if labels is None else str(labels)
    report["unanswered"] = unanswered
    if args.json:
        print(json_text(report))
    else:
        counts = ", ".join(f"{len(report[name])} {name}" for name in ("fetched", "kept", "refused", "failed"))
        print(f"photographs: {counts}; objects: {report['objects']}")
        print(f"manifest: {report['manifest']}")
        if labels is not None:
            print(f"labels: {labels}")
    return 1 if report["failed"] or unanswered else 0


def _gather(
    args: argparse.Namespace, records: list[Record], web: Web, allowed: frozenset[str]
) -> tuple[dict[str, Any], dict[str, str]]:
    """Fetch what the folder lacks; what the JSON document says, and names of files by the sha256 they must have."""
    import logging

    from tqdm.contrib.logging import logging_redirect_tqdm

    from dialtell.evaluate.museum.download import Fate, gather, photographs
    from dialtell.evaluate.museum.folder import Gathered
    from dialtell.synth.shared.progress import progress

    log = logging.getLogger("dialtell.gather")
    bare = [record.name for record in records if not record.image_urls]
    if bare:
        log.warning("%d of %d objects have no photograph on record: %s", len(bare), len(records), ", ".join(bare[:5]))
    pairs = photographs(records, each=args.first)
    report: dict[str, Any] = {"schema": "dialtell.gather/1", "out": str(args.out), "objects": len(records)}
    report |= {"photographs": len(pairs), **{fate.value: [] for fate in Fate}}
    done, files = 0, {}
    with Gathered(args.out) as folder, logging_redirect_tqdm([logging.getLogger("dialtell")]):
        report["manifest"] = str(folder.manifest)

        def reached() -> str:
            return f"{done} of {len(pairs)} photographs are in {folder.path}"

        with progress(len(pairs), unit="photo", quiet=args.quiet, reached=reached) as bar:
            for outcome in gather(
                pairs, folder, web, allowed=allowed, max_bytes=round(1e6 * args.max_megabytes),
                max_pixels=args.max_pixels,
            ):  # fmt: skip
                done += outcome.fate in (Fate.FETCHED, Fate.KEPT)
                if outcome.file:
                    report[outcome.fate].append(outcome.file)
                    files[outcome.record.sha256] = outcome.file
                else:
                    level = logging.ERROR if outcome.fate is Fate.FAILED else logging.WARNING
                    log.log(level, "%s, %s: %s", outcome.record.museum, outcome.record.name, outcome.reason)
                    entry = {"object": outcome.record.name, "image_url": outcome.url, "reason": outcome.reason}
                    report[outcome.fate].append(entry)
                bar.update()
    return report, files


def _contact(text: str) -> str:
    if not text.isascii() or not text.isprintable() or len(text) > 200 or set(text) & set("()"):
        raise argparse.ArgumentTypeError("give a mail address or a page in up to 200 ASCII characters, no parentheses")
    return text
