"""Which dial lies in a setting: of drawn enamel, another make or another design, with what real dials have beside."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from dialtell.synth.faces.face import bare_face, draw_face
from dialtell.synth.faces.face_parts import Face
from dialtell.synth.faces.features import FeaturesSpec, add_features, sample_features
from dialtell.synth.faces.make import MakeSpec, dress, sample_make
from dialtell.synth.faces.modern import ModernSpec, bare, draw_modern, sample_modern
from dialtell.synth.faces.pointers import PointersSpec, lay_pointers, sample_pointers
from dialtell.synth.scene import DialSpec, Range, sample_spec
from dialtell.synth.shared.terms import Make

SCALES = (160, 220, 400)  # px per dial radius that faces are drawn at
MODERN = (Make.ENAMEL, Make.PAINTED, Make.PAPER, Make.METAL, Make.RAISED)
MODERN_SHARES = (0.5, 0.2, 0.1, 0.1, 0.1)
RANGE = Range(mixed=0.1, scatter=(0.0, 1.15), jitter_spread=0.18, wear=(0.0, 0.8))


@dataclass(frozen=True)
class SubjectSpec:
    """dial : the drawn design, with wear and hands; None for a modern design. dress : of another make, None for fired
    enamel. pointers : hands of kinds the drawn dial has not, in the place of its own; None for its
    own. scale : px per dial radius of the face."""

    make: Make
    dial: DialSpec | None
    modern: ModernSpec | None
    dress: MakeSpec | None
    features: FeaturesSpec | None
    pointers: PointersSpec | None
    scale: int


def sample_subject(*, rng: np.random.Generator, seed: int, index: int, scope: Range = RANGE) -> SubjectSpec:
    """Draw a subject; seed, index : of the drawn dial."""
    scale = int(rng.choice(SCALES, p=[0.4, 0.4, 0.2]))
    pointers = sample_pointers(rng=rng) if rng.random() < 0.35 else None
    kind = rng.random()
    if kind < 0.25:
        make = Make(str(rng.choice(np.array(MODERN), p=MODERN_SHARES)))
        modern = sample_modern(rng=rng, make=make)
        dressed = None if make is Make.ENAMEL else replace(sample_make(rng=rng), make=make)
        return SubjectSpec(make, None, modern, dressed, None, pointers or sample_pointers(rng=rng), scale)
    dial = sample_spec(seed, index, scope if kind >= 0.42 else replace(scope, wear=(0.0, 0.0)))
    features = sample_features(rng=rng) if rng.random() < 0.6 else None
    if kind < 0.42:
        dressed = sample_make(rng=rng)
        return SubjectSpec(dressed.make, dial, None, dressed, None, pointers, scale)
    return SubjectSpec(Make.ENAMEL, dial, None, None, features, pointers, scale)


def draw_subject(spec: SubjectSpec) -> Face:
    """The face of a subject."""
    if spec.modern is not None:
        face = draw_modern(spec.modern, spec.scale)
        if spec.dress is not None:
            face = dress(spec.dress, face, bare(spec.modern, spec.scale))
    else:
        assert spec.dial is not None
        face = draw_face(spec.dial, spec.scale, hands=spec.pointers is None and spec.dress is None)
        if spec.dress is not None:
            face = dress(spec.dress, face, bare_face(spec.dial, spec.scale))
    if spec.features is not None:
        face = add_features(spec.features, face)
    return face if spec.pointers is None else lay_pointers(spec.pointers, face)
