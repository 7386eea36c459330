"""What happens with pictures that show no dial: how often a disc is found in one, and whether any gets a call.

    python tests/trials outside/negatives --each 4 --things 100

Pictures of the kinds in negative_pictures.py are drawn, then round things of the renderer's own on its backgrounds,
with a seed no training uses; the photographs that come inside an installed scikit-image are added where it is there.
Each is scored as any photograph is; a table goes to standard output. Exit code 1 when one of them was called painted
or printed.
"""

from __future__ import annotations

import argparse
import importlib.util
import json
import sys
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from dialtell.model.net.weights_file import Weights

SEED = 5_000_077
BUNDLED = "scikit-image sample"
THING = "drawn thing"
THING_SIDE = 1000  # px, longer side of the photographs of things
SMALLEST = 32  # px, samples with a shorter side are no photographs


@dataclass(frozen=True)
class NegativeOutcome:
    """One picture scored. found : whether a dial was read in it. called : whether it was called painted or printed."""

    kind: str
    name: str
    found: bool
    called: bool
    reason: str


def drawn(folder: Path, each: int, side: int) -> Iterator[tuple[str, Path]]:
    """Kind and file of `each` pictures of every kind, written to a folder as PNG of `side` px."""
    from PIL import Image
    from trials.outside.negative_pictures import KINDS, draw_negative

    for number, kind in enumerate(KINDS):
        for index in range(each):
            rng = np.random.default_rng([SEED, number, index])
            place = folder / f"{kind.replace(' ', '-')}-{index}.png"
            Image.fromarray(draw_negative(kind, rng=rng, side=side)).save(place, compress_level=1)
            yield kind, place


def things(folder: Path, count: int, side: int) -> Iterator[tuple[str, Path]]:
    """Kind and file of `count` photographs, longer side `side` px, of a large thing that is no dial, among others, as
    the reader's training pictures have them."""
    from PIL import Image

    from dialtell.synth.settings.compose import compose
    from dialtell.synth.settings.setting import Look, Placing, sample_setting
    from dialtell.synth.settings.thing import sample_thing
    from dialtell.synth.shared.terms import Make

    for index in range(count):
        rng = np.random.default_rng([SEED, 98, index])
        setting = sample_setting(rng=rng, look=Look.SCENE, dial=False, side=side)
        thing = sample_thing(rng=rng)
        height, width = setting.shape
        x, y = rng.uniform(0.42, 0.58, 2) * (width, height)
        place = Placing(
            radius_px=float(0.5 * min(setting.shape) * rng.uniform(0.45, 0.9)), x=float(x), y=float(y),
            twelve=float(rng.uniform(-np.pi, np.pi)), tilt=float(min(abs(rng.normal(0.0, 0.25)), 0.8)),
            lean=float(rng.uniform(-np.pi, np.pi)), depth=0.1,
        )  # fmt: skip
        example = compose(replace(setting, things=(*setting.things, (thing, place))), None, Make.NONE)
        file = folder / f"thing-{thing.kind.replace(' ', '-')}-{index}.png"
        Image.fromarray(example.picture).save(file, compress_level=1)
        yield THING, file


def bundled(folder: Path) -> Iterator[tuple[str, Path]]:
    """Kind and file of scikit-image's own samples, only those in its package: nothing is fetched.

    Its 24 px faces are laid out as one sheet, enlarged, in `folder`.
    """
    from PIL import Image

    found = importlib.util.find_spec("skimage")
    if found is None or found.origin is None:
        return
    samples = Path(found.origin).parent / "data"
    for place in sorted(samples.iterdir()):
        if place.suffix in (".png", ".jpg", ".gif"):
            with Image.open(place) as image:
                if min(image.size) >= SMALLEST:
                    yield BUNDLED, place
    faces = samples / "lfw_subset.npy"
    if faces.exists():
        sheet = np.load(faces, allow_pickle=False)[:100]
        size = sheet.shape[1]
        tiled = sheet.reshape(10, 10, size, size).swapaxes(1, 2).reshape(10 * size, 10 * size)
        place = folder / "faces.png"
        Image.fromarray((255 * tiled).astype(np.uint8)).resize((1000, 1000)).save(place)
        yield BUNDLED, place


def score_negative(kind: str, place: Path, weights: Weights) -> NegativeOutcome:
    """Score one picture as any photograph is."""
    from dialtell.evaluate.score.score import score_photo
    from dialtell.model.net.calibration import UNDETERMINED

    scored = score_photo(place, weights)
    zones = [zone["call"] for zone in scored.record["zones"]]
    called = any(call != UNDETERMINED for call in (scored.record["call"], *zones))
    return NegativeOutcome(kind, place.name, scored.reading is not None, called, scored.record["reason"])


def table(outcomes: Sequence[NegativeOutcome]) -> str:
    """One line per kind: pictures, dials found, calls, and the commonest reason."""
    lines = [f"{'kind':<22}{'pictures':>9}{'found':>7}{'called':>8}  reason given most often"]
    for kind in dict.fromkeys(outcome.kind for outcome in outcomes):
        lines.append(_line(kind, [outcome for outcome in outcomes if outcome.kind == kind]))
    return "\n".join([*lines, _line("all", outcomes)])


def _line(kind: str, outcomes: Sequence[NegativeOutcome]) -> str:
    reasons = [outcome.reason for outcome in outcomes]
    most = "" if kind == "all" else max(reasons, key=reasons.count)
    found, called = sum(o.found for o in outcomes), sum(o.called for o in outcomes)
    return f"{kind:<22}{len(outcomes):>9}{found:>7}{called:>8}  {most}".rstrip()


def main(arguments: Sequence[str] | None = None) -> int:
    """Draw, score, print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--each", type=int, default=4, metavar="N", help="drawn pictures of each kind (default: 4)")
    parser.add_argument("--side", type=int, default=1800, metavar="PX", help="of the drawn pictures (default: 1800)")
    parser.add_argument(
        "--things", type=int, default=100, metavar="N", help="the renderer's round things (default: 100)"
    )
    parser.add_argument("--reader", type=Path, metavar="FILE.safetensors", help="default: the one that comes with it")
    parser.add_argument("--json", action="store_true", help="every picture's outcome as one JSON document")
    args = parser.parse_args(arguments)
    import cv2
    import torch

    from dialtell.model.net.weights_file import load_weights
    from dialtell.model.reader.file import load_reader

    cv2.setNumThreads(1)
    torch.set_num_threads(1)
    weights = load_weights()
    if args.reader is not None:
        weights = replace(weights, reader=load_reader(args.reader))
    outcomes = []
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        kinds = drawn(folder, args.each, args.side), things(folder, args.things, THING_SIDE), bundled(folder)
        for pictures in kinds:
            for kind, place in pictures:
                outcomes.append(score_negative(kind, place, weights))
                print(f"{len(outcomes)} {outcomes[-1].name}", file=sys.stderr)
    print(json.dumps([vars(outcome) for outcome in outcomes]) if args.json else table(outcomes))
    return int(any(outcome.called for outcome in outcomes))


if __name__ == "__main__":
    raise SystemExit(main())
