"""Rungs of drawn dials, from those training drew to those it never could: what a rung holds is fixed by (rung, index).

A rung's hash is over the specs of its first dials, records in canonical JSON. The frozen hashes stand in rungs.json:
figures of two nets compare only where they were asked the same dials. After a change of the renderer:
    python -m dialtell.evaluate.ladder.rungs --freeze
"""

from __future__ import annotations

import argparse
import hashlib
import json
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from dialtell.synth.design.design import sample_design
from dialtell.synth.scene import RENDERER_VERSION, DialSpec, Range, generator, printed_process, sample_spec
from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.shared.files import write_text
from dialtell.synth.shared.record import to_record
from dialtell.synth.shared.terms import Process
from dialtell.train.run.holdout import HELD_OUT, TRAINING

FROZEN = Path(__file__).with_name("rungs.json")
HASHED = 64  # specs of a rung its hash is over
DIGITS = 9  # of their numbers

# what training draws from (train.config.SCOPE; not imported, it brings torch into workers), but for mixed dials, which
# have no truth of their own
LIKE_TRAINING = Range(
    pixels_per_radius=(170.0, 1000.0), part=0.15, scatter=(0.0, 1.15), jitter_spread=0.18, film=0.0, variety=TRAINING
)
D_PX_PER_MM = (4.0, 120.0)


@dataclass(frozen=True)
class Rung:
    """One rung. twins : dials 2 i and 2 i + 1 are one picture, painted and printed."""

    letter: str
    title: str
    seed: int
    draw: Callable[[int, int], DialSpec]  # (seed, index)
    twins: bool = False

    def spec(self, index: int) -> DialSpec:
        """Dial `index`, 0 or above: the same on every machine."""
        if index < 0:
            raise ParameterError(f"index is {index}; give 0 or above")
        return self.draw(self.seed, index)

    def cluster(self, index: int) -> int:
        """Dials of one picture belong together."""
        return index // 2 if self.twins else index


def twin_print(seed: int, index: int) -> Process:
    """Transfer or photographic, as training draws it for the picture's twins."""
    return printed_process(np.random.default_rng([seed, index, 78]))


def balanced(seed: int, index: int, scope: Range) -> DialSpec:
    """Even dials painted, odd ones printed."""
    return sample_spec(seed, index, scope, Process.HAND if index % 2 == 0 else twin_print(seed, index))


def _same(seed: int, index: int) -> DialSpec:
    return balanced(seed, index, LIKE_TRAINING)


def _unseen(seed: int, index: int) -> DialSpec:
    """Held-out letterforms, marks and layouts; heavier wear than training's; hands beyond both ends of its range;
    a camera outside its range in three ways (compression, tone, blur or noise)."""
    rng = np.random.default_rng([seed, index, 79])
    steadier = rng.random() < 0.5
    scope = replace(
        LIKE_TRAINING,
        variety=HELD_OUT,
        wear=(0.8, 1.0),
        steadiness=(0.85, 1.0) if steadier else (0.0, 0.15),
        jitter=float(rng.uniform(0.3, 0.6)) if steadier else float(rng.uniform(1.3, 1.8)),
        jitter_spread=0.0,
        mastered=1.0 if steadier else 0.0,
    )
    spec = balanced(seed, index, scope)
    camera = replace(
        spec.camera,
        jpeg_after=(int(rng.integers(22, 35)),),
        gamma=float(rng.uniform(1.36, 1.5) if rng.random() < 0.5 else rng.uniform(0.64, 0.74)),
        balance=(float(rng.uniform(1.25, 1.5)), 1.0, float(rng.uniform(0.65, 0.8))),
        sharpen=float(rng.uniform(1.9, 2.5)) if rng.random() < 0.5 else spec.camera.sharpen,
        shot=spec.camera.shot if rng.random() < 0.5 else float(rng.uniform(0.045, 0.07)),
    )
    return replace(spec, camera=camera)


def _twin(seed: int, index: int) -> DialSpec:
    pair = index // 2
    spec = sample_spec(seed, pair, LIKE_TRAINING, Process.HAND)
    return spec if index % 2 == 0 else spec.as_process(twin_print(seed, pair))


def _resolution(seed: int, index: int) -> DialSpec:
    """Watch dials at a scale drawn log-uniformly; one too large for the frame is shown in part."""
    low, high = np.log(D_PX_PER_MM)
    px_per_mm = float(np.exp(np.random.default_rng([seed, index, 80]).uniform(low, high)))
    radius = sample_design(rng=generator(seed, index), variety=LIKE_TRAINING.variety).radius_mm
    across = px_per_mm * radius
    return balanced(seed, index, replace(LIKE_TRAINING, pixels_per_radius=(across, across), part=0.0, max_side=2400))


def _scatter(seed: int, index: int) -> DialSpec:
    """The plate was cut by a hand as unsteady as the one that painted the figures, nothing of it by machine."""
    spec = balanced(seed, index, LIKE_TRAINING)
    plate = replace(spec.making.plate, engraver=spec.making.workshop.figures, scatter=1.0, punched=False, divided=False)
    return replace(spec, making=replace(spec.making, plate=plate))


def _mixed(seed: int, index: int) -> DialSpec:
    return sample_spec(seed, index, replace(LIKE_TRAINING, mixed=1.0))


def _close(seed: int, index: int) -> DialSpec:
    return balanced(seed, index, replace(LIKE_TRAINING, part=1.0))


RUNGS: tuple[Rung, ...] = (
    Rung("A", "drawn as for training", 7_000_003, _same),
    Rung("B", "unseen letterforms, layouts, wear, cameras and hands", 7_100_003, _unseen),
    Rung("C", "twins: only the process differs", 7_200_007, _twin, twins=True),
    Rung("D", "4 to 120 px/mm", 7_300_009, _resolution),
    Rung("E", "the plate scatters as the hand does", 7_400_011, _scatter),
    Rung("F", "mixed dials, judged by zone", 7_500_013, _mixed),
    Rung("G", "close-ups", 7_600_015, _close),
)
BY_LETTER = {rung.letter: rung for rung in RUNGS}


def rungs_named(letters: str | None) -> tuple[Rung, ...]:
    """Rungs by their letters, such as "AC"; all for None."""
    if unknown := [letter for letter in letters or "" if letter not in BY_LETTER]:
        raise ParameterError(f"rungs hold {unknown[0]!r}; give some of the letters {''.join(BY_LETTER)}")
    return RUNGS if not letters else tuple(rung for rung in RUNGS if rung.letter in letters)


def rung_hash(rung: Rung, count: int = HASHED) -> str:
    """sha256 over the canonical records of the first `count` specs, one line each.

    Numbers to DIGITS: NumPy's exp and its like differ in the last bit between processors with AVX-512 and without.
    """
    digest = hashlib.sha256()
    for index in range(count):
        record = _rounded(to_record(rung.spec(index)))
        line = json.dumps(record, sort_keys=True, separators=(",", ":"), allow_nan=False)
        digest.update(line.encode() + b"\n")
    return digest.hexdigest()


def _rounded(record: Any) -> Any:
    if isinstance(record, float):
        return float(f"{record:.{DIGITS}g}")
    if isinstance(record, list):
        return [_rounded(item) for item in record]
    return {name: _rounded(item) for name, item in record.items()} if isinstance(record, dict) else record


def frozen() -> dict[str, str]:
    """Hashes by letter as last frozen; empty where that was for another renderer."""
    record = json.loads(FROZEN.read_text("utf-8")) if FROZEN.is_file() else {}
    return dict(record.get("sha256", {})) if record.get("renderer_version") == RENDERER_VERSION else {}


def main(arguments: list[str] | None = None) -> int:
    """Compare the hashes with the frozen ones, or freeze them."""
    parser = argparse.ArgumentParser(prog="python -m dialtell.evaluate.ladder.rungs", description=__doc__,
                                     formatter_class=argparse.RawDescriptionHelpFormatter)  # fmt: skip
    parser.add_argument("--freeze", action="store_true", help="write the hashes as they are now")
    args = parser.parse_args(arguments)
    hashes = {rung.letter: rung_hash(rung) for rung in RUNGS}
    if args.freeze:
        record = {"renderer_version": RENDERER_VERSION, "specs": HASHED, "sha256": hashes}
        write_text(FROZEN, json.dumps(record, indent=1) + "\n", overwrite=True)
    known = frozen()
    for letter, value in hashes.items():
        print(letter, value[:16], "as frozen" if known.get(letter) == value else "NOT as frozen")
    return int(known != hashes)


if __name__ == "__main__":
    raise SystemExit(main())
