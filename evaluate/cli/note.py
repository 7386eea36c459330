"""`dialtell note`: a dial in the words of a catalogue."""

from __future__ import annotations

import argparse
from pathlib import Path

from dialtell.evaluate.cli.flags import (
    add_known,
    add_one_dial,
    add_photos,
    add_reading,
    add_size,
    known_of,
    known_of_one,
)

DESCRIPTION = """\
Write a short description of a dial as a catalogue would word it, in Markdown: its layout, what was
called painted or printed and with what support, and what was not judged. Every sentence rests on something found; there
is no sentence where there is no fact. It is a draft for the person who has examined the dial.
"""

EPILOG = """\
examples:
  dialtell note watch.jpg
  dialtell note watch.jpg --size 18 --sources --out watch.md
  dialtell note whole.jpg name.jpg track.jpg --one-dial "no. 41"

--sources names the fields of `dialtell score --json` behind each sentence (default: prose only); --json prints
sentences, fields and the dial as one document, schema dialtell.note/1.

Exit status: 0 when the photograph was read; 1 when it was not; 2 wrong usage; 130 interrupted.
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Flags of the verb."""
    parser.description, parser.epilog = DESCRIPTION, EPILOG
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    add_photos(parser)
    add_one_dial(parser)
    add_size(parser)
    add_known(parser)
    add_reading(parser)
    out = parser.add_argument_group("output")
    out.add_argument("--sources", action="store_true", help="name the fields behind each sentence")
    out.add_argument("--json", action="store_true", help="print one JSON document in place of Markdown")
    out.add_argument("--out", type=Path, metavar="FILE", help="write there (default: standard output)")
    out.add_argument("--overwrite", action="store_true", help="replace FILE if it exists (default: refuse)")


def run(args: argparse.Namespace) -> int:
    """Write as asked; returns the exit status."""
    import logging

    from dialtell.evaluate import score_photo
    from dialtell.evaluate.one_dial.dial import score_one_dial
    from dialtell.evaluate.score.note import note_document, note_markdown
    from dialtell.evaluate.words.document import json_text
    from dialtell.model import load_weights
    from dialtell.synth.shared.errors import ParameterError
    from dialtell.synth.shared.files import JSON, MARKDOWN, require_form, require_free, write_text

    if args.one_dial is None and len(args.photos) > 1:
        raise ParameterError("a note is of one dial; give one photograph, or --one-dial if all are of the same")
    if args.out is not None:
        require_form(args.out, JSON if args.json else MARKDOWN)
        require_free(args.out, overwrite=args.overwrite)
    weights = load_weights(args.weights)
    if args.one_dial is None:
        scored, status = score_photo(args.photos[0], weights, known=known_of_one(args, args.photos[0])), 0
    else:
        dial, document = score_one_dial(args.photos, weights, known=known_of(args), name=args.one_dial or None)
        for entry in document["errors"]:
            logging.getLogger("dialtell.note").error("%s", entry["error"])
        if dial is None:
            return 1
        scored, status = dial.scored, 1 if document["errors"] else 0
    if args.json:
        text = json_text(note_document(scored, weights.identity)) + "\n"
    else:
        text = note_markdown(scored, weights.identity, sources=args.sources)
    if args.out is None:
        print(text, end="")
    else:
        write_text(args.out, text, overwrite=args.overwrite)
    return status
