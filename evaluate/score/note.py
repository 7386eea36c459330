"""A short description of a dial as a catalogue would word it; every sentence rests on fields.

No sentence where there is no fact. The fields named are those of `dialtell score --json` (and, for the layout, what the
reading found), so that each sentence can be checked.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from dialtell.evaluate.score.score import ScoredPhoto
from dialtell.evaluate.words.cautions import CAUTIONS
from dialtell.evaluate.words.plain import plain_name
from dialtell.evaluate.words.support import findings_sentence, listed
from dialtell.model.net.calibration import CANNOT_TELL, HAND, PHOTOGRAPHIC, PRINTED, TRANSFER, UNDETERMINED
from dialtell.model.reading.sub_dial import is_divided

SCHEMA = "dialtell.note/1"
NOT_ASSESSED = (
    "Condition (hairlines, chips, wear), repairs and restoration, the back and the fit to the movement were not "
    "assessed."
)
# the trade's names for zones in running text
PARTS = {
    "signature": "the signature",
    "numerals": "the hour figures",
    "minute track": "the minute track",
    "seconds bit": "the seconds dial",
    "other": "the rest of the dial",
}


PRINTS = {TRANSFER: "a transfer", PHOTOGRAPHIC: "photographic"}


@dataclass(frozen=True)
class Sentence:
    """One sentence and the fields it rests on, as paths into the document."""

    text: str
    fields: tuple[str, ...]


def note_sentences(scored: ScoredPhoto) -> list[Sentence]:
    """What can be said of this photograph's dial, in the order of a catalogue: object, process, limits."""
    record = scored.record
    if scored.reading is None or record["geometry"] is None:
        return [Sentence(f"No dial could be described: {_lower(record['reason'])}", ("reason",))]
    found = [
        *_layout(scored),
        *_size(record),
        *_read_at(record),
        *_process(record),
        *_printing(record),
        *_zones(record),
        *_limits(record),
    ]
    return [sentence for sentence in found if sentence.text]


def _layout(scored: ScoredPhoto) -> list[Sentence]:
    """What the dial carries, of what was found for certain: a track of divisions, and a seconds bit that was judged.

    Winding holes and arbors pass for small circles, so a circle alone is no sub-dial: divisions must stand in it.
    """
    reading = scored.reading
    if reading is None or not reading.zones.named:
        return []
    parts, fields = [], []
    if reading.zones.track is not None and reading.divisions is not None:
        parts.append("a minute track")
        fields.append("reading.zones.track")
    found = {zone["zone"]: index for index, zone in enumerate(scored.record["zones"]) if zone["judged"]}
    if (
        reading.zones.seconds is not None
        and "seconds bit" in found
        and is_divided(reading.density, reading.geometry, reading.zones.seconds)
    ):
        parts.append("a subsidiary seconds dial")
        fields.append(f"zones[{found['seconds bit']}].judged")
    if not parts:
        return []
    return [Sentence(f"Dial with {listed(parts)}.", tuple(fields))]


def _size(record: dict[str, Any]) -> list[Sentence]:
    geometry = record["geometry"]
    if geometry["pixels_per_mm"] is None:
        return []
    diameter = geometry["pixels_across"] / geometry["pixels_per_mm"]
    fields = ("geometry.pixels_across", "geometry.pixels_per_mm")
    return [Sentence(f"Diameter taken as {diameter:.1f} mm, from the size given.", fields)]


def _read_at(record: dict[str, Any]) -> list[Sentence]:
    """What the photographs show: without it nobody can weigh the rest."""
    geometry = record["geometry"]
    across = f"in which the dial is {geometry['pixels_across']:.0f} px across"
    fields: tuple[str, ...] = ("geometry.pixels_across",)
    if geometry["pixels_per_mm"] is None:
        across += "; its size was not given"
    else:
        across, fields = f"{across} ({geometry['pixels_per_mm']:.1f} px/mm)", (*fields, "geometry.pixels_per_mm")
    parts = record.get("photographs", ())
    near = sum(part["place"] is not None for part in parts)
    if not near:
        return [Sentence(f"Read from a photograph {across}.", fields)]
    others = f"{near} other photograph{'s' if near > 1 else ''} of parts of it, laid on that"
    return [Sentence(f"Read from a photograph {across}, and from {others}.", (*fields, "photographs"))]


def _process(record: dict[str, Any]) -> list[Sentence]:
    call, support = record["call"], plain_name(record["support"])
    if call == UNDETERMINED:
        text = f"Whether it was painted by hand or printed could not be settled from the photograph ({support})."
        return [Sentence(text, ("call", "support")), Sentence(plain_name(record["reason"]), ("reason",))]
    verb = "appears painted by hand" if call == HAND else "appears printed"
    ratio = record["log10_lr"]
    number = f"{ratio:+.2f}".replace("-", "\u2212")
    text = f"The design {verb} ({support}; log10 likelihood ratio {number}, where above 0 speaks for the hand)."
    found = findings_sentence(ratio, support.startswith("at least"))
    return [Sentence(text, ("call", "support", "log10_lr")), Sentence(found, ("log10_lr", "support"))]


def _printing(record: dict[str, Any]) -> list[Sentence]:
    """By which process, of a dial called printed; nothing where that cannot be told."""
    found = record.get("print_process")
    if record["call"] != PRINTED or found is None or found["call"] == CANNOT_TELL:
        return []
    text = f"Of the two processes of print it looks {PRINTS[found['call']]}. {plain_name(found['reason'])}"
    return [Sentence(text, ("print_process.call", "print_process.log10_lr"))]


def _zones(record: dict[str, Any]) -> list[Sentence]:
    sentences = []
    for call, words in ((HAND, "hand-painted"), (PRINTED, "printed")):
        if record["call"] == call:
            continue  # said of the whole already; only what differs is worth a sentence
        chosen = [
            (index, zone) for index, zone in enumerate(record["zones"]) if zone["judged"] and zone["call"] == call
        ]
        if chosen:
            names = listed([PARTS[str(zone["zone"])] for _, zone in chosen])
            verb = "is" if len(chosen) == 1 else "are"
            text = f"{names[:1].upper()}{names[1:]} {verb} called {words}."
            sentences.append(Sentence(text, tuple(f"zones[{index}].call" for index, _ in chosen)))
    silent = [(i, z) for i, z in enumerate(record["zones"]) if z["judged"] and z["call"] == UNDETERMINED]
    if record["call"] != UNDETERMINED and silent:
        names = listed([PARTS[str(zone["zone"])] for _, zone in silent])
        verb = "was" if len(silent) == 1 else "were"
        fields = tuple(f"zones[{index}].call" for index, _ in silent)
        sentences.append(Sentence(f"{names[:1].upper()}{names[1:]} {verb} looked at and left undetermined.", fields))
    return sentences


def _limits(record: dict[str, Any]) -> list[Sentence]:
    unseen = [(i, z) for i, z in enumerate(record["zones"]) if not z["judged"] and z["zone"] != "other"]
    sentences = []
    if unseen:
        names = listed([PARTS[str(zone["zone"])] for _, zone in unseen])
        fields = tuple(f"zones[{index}].judged" for index, _ in unseen)
        sentences.append(Sentence(f"Not found or not judged: {names}.", fields))
    for index, warning in enumerate(record["warnings"]):
        sentences.append(Sentence(plain_name(warning), (f"warnings[{index}]",)))
    return sentences


def note_document(scored: ScoredPhoto, model: dict[str, Any]) -> dict[str, Any]:
    """The note as JSON: sentences with their fields, and the dial they rest on."""
    return {
        "schema": SCHEMA,
        "model": model,
        "sentences": [{"text": s.text, "fields": list(s.fields)} for s in note_sentences(scored)],
        "dial": scored.record,
    }


def note_markdown(scored: ScoredPhoto, model: dict[str, Any], *, sources: bool = False) -> str:
    """The note in Markdown. sources : name the fields behind each sentence."""
    sentences = note_sentences(scored)
    lines = [f"# Dial note: {_marked(plain_name(Path(scored.record['photo']).name))}", ""]
    if sources:
        lines += [f"- {_marked(s.text)} `{', '.join(s.fields)}`" for s in sentences]
    else:
        lines.append(" ".join(_marked(s.text) for s in sentences))
    lines += ["", NOT_ASSESSED, "", "Cautions:", ""]
    lines += [f"- {caution}" for caution in CAUTIONS]
    lines += ["", f"From the photograph alone, by dialtell with {model['name']} {model['version']}."]
    return "\n".join(lines) + "\n"


def _marked(text: str) -> str:
    """Text that Markdown takes for nothing but text."""
    for mark in "\\`*_[]<>#|":
        text = text.replace(mark, f"\\{mark}")
    return text


def _lower(text: str) -> str:
    text = plain_name(text)
    return text[:1].lower() + text[1:]
