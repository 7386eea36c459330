"""The measured evidence as a page shows it: a table a zone in the examiner's order, words made from this photo's facts.

What leans to neither side stands apart from what leans, below it and counted, so that a few telling rows among many are
not taken for all of them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

from markupsafe import Markup

from dialtell.evaluate.inspection.strip_plot import strip_plot
from dialtell.evaluate.inspection.stroke_layer import DrawnLine, StrokeLayer
from dialtell.evaluate.measurements.evidence import MeasuredEvidence, MeasurementRow, ZoneFacts
from dialtell.evaluate.measurements.finding import MM, RADII
from dialtell.evaluate.measurements.gathering import MEASURES
from dialtell.evaluate.measurements.glossary import GLOSSARY, place
from dialtell.evaluate.measurements.rings import GUIDE
from dialtell.evaluate.measurements.spread import PX_PER_MM, band_of
from dialtell.evaluate.measurements.words import counted_words, lead_words, value_words
from dialtell.evaluate.words.plain import capital
from dialtell.synth.shared.sizes import size_mm
from dialtell.synth.shared.terms import ZONES, Zone

_MOSTLY = 0.5  # share of a zone hidden, from which that is why it could not be measured


@dataclass(frozen=True)
class TableRow:
    """One measurement made. look : what the examiner looks for. lean : "hand", "print" or "", lead : in words.
    says : the rest of the sentence. unlike : neither painted nor printed drawn dials are like it. lines : which of the
    layer's lines it was taken from. plot : SVG, None without a spread."""

    look: str
    name: str
    what: str
    value: str
    counted: str
    lean: str
    lead: str
    says: str
    unlike: bool
    lines: str
    plot: Markup | None


@dataclass(frozen=True)
class ZoneTable:
    """One zone. summary : a sentence of counts, "" where the headings of the rows say it. leaning, unlike, silent :
    rows that lean, that are outside both spreads, and that lean to neither side. doubted : that lean against the craft,
    or the other way in another zone. alone : rows with nothing to be set
    beside. missing : what was not measured and why."""

    zone: str
    summary: str
    leaning: tuple[TableRow, ...]
    unlike: tuple[TableRow, ...]
    silent: tuple[TableRow, ...]
    alone: tuple[TableRow, ...]
    missing: tuple[tuple[str, str], ...]
    doubted: tuple[TableRow, ...] = ()

    @property
    def doubted_said(self) -> str:
        """Heading of the rows that are not to be relied on."""
        count = len(self.doubted)
        return f"{count} {'measurement' if count == 1 else 'measurements'} to give no weight"

    @property
    def unlike_said(self) -> str:
        """Heading of the rows outside both spreads."""
        count = len(self.unlike)
        return f"{count} {'measurement' if count == 1 else 'measurements'} unlike both painted and printed drawn dials"

    @property
    def silent_said(self) -> str:
        """Heading of the rows that lean to neither side."""
        count = len(self.silent)
        return f"{count} measurement tells nothing here" if count == 1 else f"{count} measurements tell nothing here"

    @property
    def alone_said(self) -> str:
        """Heading of the rows with nothing to be set beside."""
        count = len(self.alone)
        what = "measurement" if count == 1 else "measurements"
        return f"{count} {what} with too few drawn dials at this resolution to be set beside"


@dataclass(frozen=True)
class EvidenceTable:
    """intro : sentences on what was measured and what it is held against. zones : with anything measured.
    empty : zones without, and why. lines : of the layer over the photograph."""

    intro: tuple[str, ...]
    zones: tuple[ZoneTable, ...]
    empty: tuple[tuple[str, str], ...]
    lines: tuple[DrawnLine, ...]


def evidence_table(
    evidence: MeasuredEvidence, *, diameter_mm: float | None, weighed: int = 0, scale: float = 1.0,
    corner: tuple[float, float] = (0.0, 0.0), expected: Sequence[Zone] = ZONES, mixed: bool = False,
) -> EvidenceTable:  # fmt: skip
    """The table of one photograph.

    weighed : measurements the second opinion rests on. scale : px of the picture shown per px of the photograph
    measured. corner : px of that at the picture's top left. expected : zones to give reasons for. mixed : the zones of
    this dial contradict each other, so that a measurement may too.
    """
    sides: dict[str, set[str]] = {}
    for row in evidence.rows:
        if row.side and not row.against_craft and not mixed:
            sides.setdefault(row.name, set()).add(row.side)
    both = frozenset(name for name, found in sides.items() if len(found) > 1)
    layer = StrokeLayer(scale, corner)
    zones, empty = [], []
    for zone in ZONES:
        rows = sorted(evidence.of(zone), key=lambda row: place(row.name))
        if any(not row.too_few for row in rows):
            zones.append(_zone(zone, rows, layer, both))
        elif zone in expected:
            empty.append((zone.value, _why_empty(evidence.zones[zone])))
    return EvidenceTable(tuple(_intro(evidence, diameter_mm, weighed)), tuple(zones), tuple(empty), tuple(layer.lines))


def nothing_measured(why: str) -> EvidenceTable:
    """What a page shows where nothing was measured. why : a clause."""
    return EvidenceTable((f"Nothing was measured: {why}.",), (), (), ())


def _zone(zone: Zone, rows: Sequence[MeasurementRow], layer: StrokeLayer, both: frozenset[str]) -> ZoneTable:
    """both : names of what leans one way in this zone and the other way in that."""
    held = [(row, _table_row(row, layer, both)) for row in rows if not row.too_few]
    made = [row for _, row in held]
    leaning = tuple(row for row in made if row.lean)
    unlike = tuple(row for row in made if row.unlike)
    doubted = tuple(row for from_, row in held if from_.side and not row.lean)
    silent = tuple(row for from_, row in held if not from_.side and not row.unlike and row.plot is not None)
    alone = tuple(row for row in made if row.plot is None)
    return ZoneTable(
        zone.value,
        _summary(made, len(doubted)) if leaning else "",
        leaning,
        unlike,
        silent,
        alone,
        _missing([row for row in rows if row.too_few]),
        doubted,
    )


def _table_row(row: MeasurementRow, layer: StrokeLayer, both: frozenset[str]) -> TableRow:
    assert row.value is not None
    term = GLOSSARY[row.name]
    says = partial(value_words, row.name, unit=row.unit)
    side = "" if row.against_craft or row.name in both else row.side
    lead = lead_words(row.side)
    end = " In another part of this dial it leans the other way." if row.side and row.name in both else ""
    plot = None
    if row.band is not None:
        plot = strip_plot(
            row.band.painted, row.band.printed, row.value, log=MEASURES[row.name].spread, says=says,
            ends=partial(value_words, row.name, unit=row.unit, short=True),
            counts=(row.band.n_painted, row.band.n_printed),
        )  # fmt: skip
    return TableRow(
        look=term.look.value,
        name=capital(row.name),
        what=term.what,
        value=says(row.value),
        counted=f"on {counted_words(row.name, row.strokes)}",
        lean=side,
        lead=lead,
        says=row.words[len(lead) + 2 if lead else 0 :] + end,
        unlike=row.unlike,
        lines=layer.add(row.zone, row.lines, searched=row.name == GUIDE.name),
        plot=plot,
    )


def _summary(rows: Sequence[TableRow], doubted: int) -> str:
    """Such as "14 measured: 5 lean to the hand, 2 to print, 7 tell nothing here."."""
    hand, printed = (sum(row.lean == side for row in rows) for side in ("hand", "print"))
    alone = sum(row.plot is None for row in rows)
    unlike = sum(row.unlike for row in rows)
    rest = len(rows) - hand - printed - alone - unlike - doubted
    parts = []
    if hand:
        parts.append(f"{hand} {'leans' if hand == 1 else 'lean'} to the hand")
    if printed:
        parts.append(f"{printed} {'leans' if printed == 1 else 'lean'} to print")
    if unlike:
        parts.append(f"{unlike} {'is' if unlike == 1 else 'are'} unlike both kinds of drawn dials")
    if doubted:
        parts.append(f"{doubted} {'is' if doubted == 1 else 'are'} to be given no weight")
    if rest:
        parts.append(f"{rest} {'tells' if rest == 1 else 'tell'} nothing here")
    if alone:
        parts.append(f"{alone} {'has' if alone == 1 else 'have'} no drawn dials to be set beside")
    return f"{len(rows)} measured: {', '.join(parts)}."


def _missing(rows: Sequence[MeasurementRow]) -> tuple[tuple[str, str], ...]:
    """(measurements, why): those that lack the same thing together."""
    groups: dict[str, list[str]] = {}
    for row in rows:
        groups.setdefault(row.words, []).append(row.name)
    return tuple((capital(", ".join(names)), why) for why, names in groups.items())


def _why_empty(facts: ZoneFacts) -> str:
    if not facts.area:
        return "Not found in this photograph."
    if facts.hidden >= _MOSTLY:
        return f"Hands or the frame cover {facts.hidden:.0%} of it."
    if not facts.strokes:
        return "No stroke stands out clearly enough from the enamel to be traced."
    return f"Too few strokes for any measurement: {counted_words('width along a stroke', facts.strokes)} traced."


def _intro(evidence: MeasuredEvidence, diameter_mm: float | None, weighed: int) -> list[str]:
    rows = [row for row in evidence.rows if not row.too_few]
    traced = sum(facts.strokes for facts in evidence.zones.values())
    name = "raggedness of edges"  # a length, as blur is
    blur = value_words(name, evidence.blur, RADII)
    if diameter_mm is not None:
        blur = value_words(name, evidence.blur * diameter_mm / 2, MM)
    sharp = f"The blur of this photograph (SD across an edge) is {blur}."
    if not rows:
        found = f"{traced} strokes could be traced" if traced else "no stroke could be traced"
        return [f"Nothing could be measured in this photograph: {found}. {sharp}"]
    said = [
        f"{len(rows)} measurements on the {traced} strokes that could be traced, in the order an examiner looks. "
        f"{sharp}"
    ]
    if not evidence.true_pixels_per_radius > 0:
        said.append("How much the photograph resolves cannot be told, so they are not set beside drawn dials.")
        return said
    band = band_of(evidence.true_pixels_per_radius)
    low, high = PX_PER_MM[band], PX_PER_MM[band + 1]
    range_ = f"{low:g} and more" if high == math.inf else f"{low:g} to {high:g}" if low else f"up to {high:g}"
    held = [row for row in rows if row.band is not None]
    said.append(
        f"{_of_them(len(held), len(rows))} can be set beside drawn dials photographed about as finely, "
        f"{_fineness(evidence.true_pixels_per_radius, range_, diameter_mm)}"
    )
    if 0 < weighed != len(held):
        said.append(f"{weighed} of them {'is' if weighed == 1 else 'are'} weighed together, beside the call.")
    if held:
        most = max(min(row.band.n_painted, row.band.n_printed) for row in held if row.band)
        said.append(
            f"No comparison rests on more than {most} dials of either kind, so take small leans lightly; and they are "
            "drawn dials, which show of real ones only what went into the drawing."
        )
    if diameter_mm is None:
        said.append(
            "The dial’s size is not known, so lengths are shares of its radius; with its size they come in millimetres."
        )
    return said


def _of_them(count: int, all_: int) -> str:
    return "All of them" if count == all_ else f"{count or 'None'} of them"


def _fineness(resolved: float, range_: str, diameter_mm: float | None) -> str:
    """What the photograph resolves beside what the drawn dials' do. Those are sorted by px per radius, stated as on an
    18 size dial whatever this one's size: so both are stated so, and this photograph's at the size given too."""
    across = size_mm(18)
    at_18 = f"{2 * resolved / across:.1f} px/mm"
    if diameter_mm is None:
        return (
            f"at {range_} px/mm; this photograph resolves {at_18}. Both are reckoned as if the dial were of 18 size, "
            f"{across:.1f} mm across."
        )
    return (
        f"at {range_} px/mm if every dial were {across:.1f} mm across (18 size); so reckoned this photograph resolves "
        f"{at_18}, and {2 * resolved / diameter_mm:.1f} px/mm at this dial’s {diameter_mm:.1f} mm."
    )
