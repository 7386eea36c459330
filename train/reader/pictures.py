"""Pictures the reader learns from: a drawn dial in several settings, with the truth of every pixel."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from dialtell.synth.faces.subject import draw_subject, sample_subject
from dialtell.synth.settings.compose import PADDING, Example, compose, root
from dialtell.synth.settings.setting import SIDE, Look, sample_setting
from dialtell.synth.shared.terms import MAKES, Make

READER_STREAM = 97  # of the rng of settings, apart from that of dials
LOOKS = (Look.SCENE, Look.SQUARE, Look.CLOSE)
SHARES = (0.42, 0.46, 0.12)  # of pictures
WITHOUT = 0.12  # share of pictures without a dial


class Pictures(NamedTuple):
    """N pictures and their truth.

    picture : (N, SIDE, SIDE, 3) uint8. seen : (N, SIDE, SIDE) uint8. truth : (N, 10) float32, columns of TRUTH.
    """

    picture: NDArray[np.uint8]
    seen: NDArray[np.uint8]
    truth: NDArray[np.float32]


# dial : 1 with a dial; cx, cy : px; the next four : (2, 2) px from the centre to dial radii, row by row; twelve :
# radians; make, look : indices into MAKES and LOOKS
TRUTH = ("dial", "cx", "cy", "xx", "xy", "yx", "yy", "twelve", "make", "look")


def pictures_of(seed: int, index: int, count: int, photos: Sequence[NDArray[np.uint8]] = ()) -> Pictures:
    """Dial `index` of set `seed` in `count` settings. photos : backgrounds of the user's own."""
    rng = np.random.default_rng([seed, index, READER_STREAM])
    subject = sample_subject(rng=rng, seed=seed, index=index)
    face = draw_subject(subject)
    examples = []
    for _ in range(count):
        look = LOOKS[int(rng.choice(3, p=SHARES))]
        dial = bool(look is Look.CLOSE or rng.random() >= WITHOUT)
        setting = sample_setting(rng=rng, look=look, dial=dial)
        examples.append(compose(setting, face if dial else None, subject.make if dial else Make.NONE, photos))
    return stacked(examples)


def stacked(examples: Sequence[Example]) -> Pictures:
    """Examples as arrays, each in the top left corner of a square."""
    picture = np.full((len(examples), SIDE, SIDE, 3), PADDING, np.uint8)
    seen = np.zeros((len(examples), SIDE, SIDE), np.uint8)
    for k, example in enumerate(examples):
        height, width = example.seen.shape
        picture[k, :height, :width] = example.picture
        seen[k, :height, :width] = example.seen
    return Pictures(picture, seen, np.stack([_truth(example) for example in examples]))


def _truth(example: Example) -> NDArray[np.float32]:
    found = np.zeros(len(TRUTH), np.float32)
    if example.outline is not None:
        found[0] = 1.0
        found[1:3] = example.outline.center_px
        found[3:7] = np.linalg.inv(root(example.outline)).ravel()
        found[7] = example.twelve
    found[8] = MAKES.index(example.make)
    found[9] = LOOKS.index(example.look)
    return found
