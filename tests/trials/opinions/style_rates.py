"""How often hints of style are right on drawn dials: `python tests/trials opinions/style_rates --count 60`.

Dials of a set other than that the limits were set on are drawn and read as photographs are, and what each hint says is
held against the design. A hint that is wrong more than one time in ten must not be told. It grades the renderer's own
dials, whose letterforms are few; on photographs of real ones it is no more than a sign.
"""

from __future__ import annotations

import argparse
import json
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from dialtell.evaluate.period.style_hints import (
    ABSENT,
    ARABIC,
    FIGURES,
    LETTERING,
    NOT_TOLD,
    OUTER_RING,
    PRESENT,
    ROMAN,
    SECONDS_BIT,
    SLANTING,
    style_hints,
)
from dialtell.synth.design import design as designs
from dialtell.synth.design.design import DialDesign

SEED = 8_071_004
PIXELS_PER_RADIUS = (130.0, 700.0)
MOST_WRONG = 0.1
_SLANTING_FORMS = ("round-script", "italic-lower")


@dataclass(frozen=True)
class Rate:
    """One thing a hint says. told : how often it said so; right : of these. 95 % interval by Wilson."""

    feature: str
    seen: str
    told: int
    right: int
    interval: tuple[float, float]

    @property
    def reliable(self) -> bool:
        """Whether it is right often enough to be told."""
        return self.told - self.right <= MOST_WRONG * self.told


def truth(design: DialDesign) -> dict[str, str]:
    """What each hint ought to say of a design. Figures: those of the hours, else of the track."""
    chapter, track = design.chapter, design.track
    if chapter is not None:
        roman = chapter.letterform in designs.ROMAN or chapter.letterform.endswith(":roman")  # strokes or a font's
        figures = ROMAN if roman else ARABIC
    else:
        figures = ARABIC if track is not None and track.figures_every else ABSENT
    forms = [line.letterform for line in design.signature]
    lettering = SLANTING if any(form in _SLANTING_FORMS for form in forms) else "upright" if forms else ABSENT
    return {
        OUTER_RING: PRESENT if track is not None and track.rings[1] else ABSENT,
        FIGURES: figures,
        LETTERING: lettering,
        SECONDS_BIT: PRESENT if design.subdials else ABSENT,
    }


def read_drawn(index: int, seed: int = SEED) -> list[tuple[str, str, str]] | None:
    """(feature, seen, truth) of each hint of a drawn dial; None where no dial was found."""
    from dialtell.model.reading.outline import NoDial
    from dialtell.model.reading.steps import read_dial
    from dialtell.synth.scene import Range, render, sample_spec
    from dialtell.train.bags.bags import photo_of

    spec = sample_spec(seed, index, Range(pixels_per_radius=PIXELS_PER_RADIUS, mixed=0.1))
    reading = read_dial(photo_of(render(spec)))
    if isinstance(reading, NoDial):
        return None
    known = truth(spec.design)
    return [(hint.feature, hint.seen, known[hint.feature]) for hint in style_hints(reading)]


def rates(said: Sequence[tuple[str, str, str]]) -> list[Rate]:
    """One rate for each thing said, (feature, seen, truth) counted; NOT_TOLD is no claim and left out."""
    from dialtell.train.stats.proportion import wilson

    told = Counter((feature, seen) for feature, seen, _ in said if seen != NOT_TOLD)
    right = Counter((feature, seen) for feature, seen, known in said if seen == known)
    return [Rate(*key, count, right[key], wilson(right[key], count)) for key, count in sorted(told.items())]


def document(count: int, seed: int = SEED) -> dict[str, Any]:
    """Draw, read and count."""
    read = [read_drawn(index, seed) for index in range(count)]
    found = [dial for dial in read if dial is not None]
    said = [hint for dial in found for hint in dial]
    silent = Counter(feature for feature, seen, _ in said if seen == NOT_TOLD)
    return {
        "seed": seed,
        "dials": count,
        "dial_found": len(found),
        "rates": [
            {"feature": rate.feature, "seen": rate.seen, "told": rate.told, "right": rate.right,
             "right_95": [round(value, 4) for value in rate.interval], "reliable": rate.reliable}
            for rate in rates(said)
        ],
        "not_told": dict(sorted(silent.items())),
    }  # fmt: skip


def table(found: dict[str, Any]) -> str:
    """One line for each thing said."""
    lines = [f"{found['dial_found']} of {found['dials']} drawn dials found", ""]
    for rate in found["rates"]:
        low, high = rate["right_95"]
        verdict = "" if rate["reliable"] else "  wrong too often to be told"
        lines.append(
            f"{rate['feature']:<34}{rate['seen']:<10}{rate['right']:>4} of {rate['told']:<4} right "
            f"({low:.2f} to {high:.2f}){verdict}"
        )
    lines += [f"{feature:<34}{NOT_TOLD:<10}{count:>4}" for feature, count in found["not_told"].items()]
    return "\n".join(lines)


def main(arguments: Sequence[str] | None = None) -> int:
    """Draw, read, print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--count", type=int, default=60, metavar="N", help="dials drawn (default: 60)")
    parser.add_argument("--seed", type=int, default=SEED, metavar="N", help="of the set (default: %(default)s)")
    parser.add_argument("--json", action="store_true", help="one JSON document")
    args = parser.parse_args(arguments)
    found = document(args.count, args.seed)
    print(json.dumps(found) if args.json else table(found))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
