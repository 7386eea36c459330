"""The trade's terms as values: zones of a dial, processes, and what a stroke is."""

from __future__ import annotations

from enum import StrEnum


class Zone(StrEnum):
    """Parts of a dial in the order an examiner looks at them."""

    SIGNATURE = "signature"
    NUMERALS = "numerals"
    MINUTE_TRACK = "minute track"
    SECONDS_BIT = "seconds bit"
    OTHER = "other"


class Process(StrEnum):
    """How the strokes of a zone got onto the enamel."""

    HAND = "hand"
    TRANSFER = "transfer"
    PHOTOGRAPHIC = "photographic"

    @property
    def printed(self) -> bool:
        """Whether it is one of the two processes of print."""
        return self is not Process.HAND


class Kind(StrEnum):
    """What a stroke is; the hand treats each kind in its own way."""

    STEM = "stem"  # thick straight stroke of a figure or letter
    THIN = "thin"  # thin straight stroke
    BAR = "bar"  # serif or the bar that caps a Roman figure
    CURVE = "curve"  # swelling or even curved stroke
    TICK = "tick"
    RING = "ring"
    DOT = "dot"
    MARK = "mark"  # lozenge, wedge, star point: a filled shape


ZONES: tuple[Zone, ...] = tuple(Zone)


class Seen(StrEnum):
    """What one pixel of a photograph of a dial shows; where several meet, the later one counts."""

    NOT_DIAL = "not dial"
    ENAMEL = "bare enamel"  # or the bare ground of a dial of another make
    GLARE = "glare"
    STEP = "step or ring"  # edge of a sink, brass ring, gilt centre
    DAMAGE = "damage"
    SIGNATURE = "signature"
    NUMERALS = "numerals"
    MINUTE_TRACK = "minute track"
    SECONDS_BIT = "seconds bit"
    OTHER = "other"
    HOLE = "hole or arbor"
    HAND = "watch hand or shadow"
    OVERLAY = "laid over the photograph"  # watermark, caption


SEEN: tuple[Seen, ...] = tuple(Seen)
INK_SEEN: dict[Zone, Seen] = {zone: Seen(zone.value) for zone in Zone}


class Make(StrEnum):
    """What a dial is made of; only the first is what this program reads strokes on."""

    ENAMEL = "fired enamel"
    METAL = "metal"
    PAPER = "paper"
    PAINTED = "paint or plastic"
    RAISED = "raised figures"
    NONE = "no dial"


MAKES: tuple[Make, ...] = tuple(Make)
