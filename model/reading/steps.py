"""From a photograph to what the net sees, in the order it happens: outline, density, sharpness, where 12 stands, zones,
patches. What is known beforehand takes the place of what would be looked for."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from dialtell.model.reader.file import Reader, load_reader
from dialtell.model.reading.close_up import (
    PLACE_SPREAD,
    CloseUp,
    DialPlace,
    find_place,
    frame_geometry,
    unnamed_geometry,
)
from dialtell.model.reading.density import optical_density
from dialtell.model.reading.divisions import Divisions, find_divisions
from dialtell.model.reading.figure_patches import with_figures
from dialtell.model.reading.fine_patches import with_fine
from dialtell.model.reading.geometry import DialGeometry, Image
from dialtell.model.reading.known import Known, MarkedPlace, Outline
from dialtell.model.reading.looks import Look, first_look, square_look
from dialtell.model.reading.outline import LEAST_OUTLINE, LIKE_NO_DIAL, NO_DIAL, NoDial, ellipse_of, find_outline
from dialtell.model.reading.patches import PatchSet, cut_patches, reduced
from dialtell.model.reading.photo import Photo
from dialtell.model.reading.scale import Scale, given_scale, scale_from_look, scale_from_strokes
from dialtell.model.reading.sharpness import Sharpness, measure_sharpness
from dialtell.model.reading.twelve import Twelve, find_twelve, on_division
from dialtell.model.reading.zones import ZoneMap, find_zones, marked, seen_within, unnamed_zones
from dialtell.synth.shared.terms import Make


@dataclass(frozen=True, eq=False)
class Reading:
    """One dial read.

    geometry : with the rotation found or given. density : (H, W) float32 D, photo px. divisions : of the minute track,
    None without one. twelve : where 12 o'clock stands; None in a close-up that does not show it. close_up : None unless
    it shows part of a dial. outline_certainty : 0..1 that the outline is right to 2 % of the radius; 1 if it was given,
    None where it was placed by a part of it or is not in the frame.
    make : probability of each make of dial; empty where it was not looked at.
    """

    geometry: DialGeometry
    density: Image
    sharpness: Sharpness
    divisions: Divisions | None
    twelve: Twelve | None
    zones: ZoneMap
    patches: PatchSet
    make: dict[Make, float]
    outline_certainty: float | None = 1.0
    close_up: CloseUp | None = None


def read(photo: Photo, known: Known, reader: Reader | None = None) -> list[Reading] | NoDial:
    """Read a photograph with what is known of it. reader : None for the shipped one.

    One reading; of a close-up whose scale is known only roughly three, the likeliest first and then one SD to either
    side. NoDial says why there is none.
    """
    return placed(read_unmarked(photo, known, reader), known)


def placed(found: list[Reading] | NoDial, known: Known) -> list[Reading] | NoDial:
    """What `read` gives, of what `read_unmarked` gave."""
    return found if isinstance(found, NoDial) else [with_places(reading, known.places) for reading in found]


def with_places(reading: Reading, places: Sequence[MarkedPlace]) -> Reading:
    """The same with what a person marked on the photograph; patches are cut anew, nothing is looked for."""
    if not places:
        return reading
    zones = marked(reading.zones, reading.geometry, places)
    phase = 0.0 if reading.twelve is None else _phase(reading.divisions, reading.twelve)
    patches = _patches(reading.density, reading.geometry, zones, phase, reading.sharpness)
    return replace(reading, zones=zones, patches=patches)


def read_unmarked(photo: Photo, known: Known, reader: Reader | None = None) -> list[Reading] | NoDial:
    """What `read` gives, without the places that a person marked."""
    reader = reader or load_reader()
    if known.outline is not None:
        return [read_at(photo, outlined(known.outline), known.twelve_deg, reader)]
    if known.part:
        per_mm = known.pixels_per_mm
        given = None if per_mm is None else given_scale(per_mm, known.diameter_mm)
        return read_close_up(photo, given, known.twelve_deg, reader)
    found = read_dial(photo, known.twelve_deg, reader)
    return found if isinstance(found, NoDial) else [found]


def outlined(outline: Outline) -> DialGeometry:
    """The dial within an outline that is known, 12 o'clock up."""
    return DialGeometry((outline.cx, outline.cy), (outline.a, outline.b), math.radians(outline.degrees))


def read_at(
    photo: Photo, geometry: DialGeometry, twelve_deg: float | None = None, reader: Reader | None = None,
    look: Look | None = None, certainty: float = 1.0,
) -> Reading:  # fmt: skip
    """Read a dial whose outline is known.

    twelve_deg : where 12 o'clock stands in the photograph, degrees clockwise from up; None to find it. look : at this
    outline, or one very near, where there has been one.
    """
    reader = reader or load_reader()
    look = look or square_look(photo.codes, ellipse_of(geometry), reader, turn=twelve_deg is None)
    density = optical_density(photo.grey, geometry)
    sharpness = measure_sharpness(density, geometry)
    divisions = find_divisions(density, geometry)
    if twelve_deg is not None:
        twelve = on_division(Twelve(geometry.rotation_to(twelve_deg), 1.0), divisions)
    else:
        twelve = on_division(find_twelve(look, reader), divisions)
    geometry = geometry.turned(twelve.radians)
    zones = find_zones(look, twelve.radians, divisions)
    phase = _phase(divisions, twelve)
    patches = _patches(density, geometry, zones, phase, sharpness)
    return Reading(geometry, density, sharpness, divisions, twelve, zones, patches, look.make, certainty)


def read_within(photo: Photo, geometry: DialGeometry, whole: Reading, reader: Reader | None = None) -> Reading:
    """Read a close-up whose place on the dial is known, because it was laid on a whole view that was read.

    geometry : of the whole dial in px of the close-up, 12 o'clock as in the whole view. Zones and divisions are the
    whole view's; what lies over the design is looked for here.
    """
    density = optical_density(photo.grey, geometry)
    sharpness = measure_sharpness(density, geometry)
    look = first_look(photo.codes, reader or load_reader())
    zones = whole.zones.seen_by(seen_within(look, geometry))
    turn = geometry.rotation - whole.geometry.rotation  # each counts from up in its own photograph
    divisions = None if whole.divisions is None else replace(whole.divisions, phase=whole.divisions.phase + turn)
    twelve = Twelve(geometry.rotation, 1.0 if whole.twelve is None else whole.twelve.certainty)
    phase = _phase(divisions, twelve)
    patches = _patches(density, geometry, zones, phase, sharpness)
    scale = Scale(geometry.pixels_per_radius, 0.0, "from its place on the whole view")
    found = CloseUp(DialPlace(geometry, geometry.seen), scale)
    return Reading(geometry, density, sharpness, divisions, twelve, zones, patches, {}, None, close_up=found)


def _patches(density: Image, geometry: DialGeometry, zones: ZoneMap, phase: float, sharpness: Sharpness) -> PatchSet:
    """Patches of the lattice, of larger scales and of single shapes."""
    resolved = sharpness.true_pixels_per_radius
    small, place = reduced(density, geometry)  # once, for all
    patches = cut_patches(small, place, zones, phase, resolved)
    patches = with_fine(patches, density, geometry, zones, resolved)
    return with_figures(patches, (small, place), (density, geometry), zones, resolved)


def _phase(divisions: Divisions | None, twelve: Twelve) -> float:
    """Radians from 12 o'clock to the division nearest to it."""
    return 0.0 if divisions is None else divisions.nearest(twelve.radians) - twelve.radians


def read_unnamed(photo: Photo, geometry: DialGeometry, look: Look | None = None) -> Reading:
    """Read a close-up that does not show where on the dial it lies: all its strokes as one zone, patches upright.

    geometry : a circle about the frame's middle whose radius carries the scale. look : at the whole photograph, None
    where hands and the like are not to be left out.
    """
    density = optical_density(photo.grey, geometry)
    sharpness = measure_sharpness(density, geometry)
    zones = unnamed_zones(None if look is None else seen_within(look, geometry))
    patches = _patches(density, geometry, zones, 0.0, sharpness)
    return Reading(geometry, density, sharpness, None, None, zones, patches, {}, None)


def read_dial(photo: Photo, twelve_deg: float | None = None, reader: Reader | None = None) -> Reading | NoDial:
    """Find the dial in a photograph and read it; NoDial says why there is none.

    A photograph with too little of a dial's outline is read as a close-up if an arc of it shows where it lies. One in
    which 12 o'clock stands nearer to a side or to the bottom is read once more, turned upright, so that it is read as
    its upright copy is.
    """
    reader = reader or load_reader()
    found = _read_as_is(photo, twelve_deg, reader)
    quarters = _quarters(found)
    if not quarters:
        return found
    given = None if twelve_deg is None else twelve_deg - 90.0 * quarters
    upright = _read_as_is(photo.quarter_turned(quarters), given, reader)
    if isinstance(upright, NoDial) or upright.close_up is not None or _quarters(upright):
        return found  # the two do not agree on which way is up
    return _turned_back(upright, quarters)


def _quarters(found: Reading | NoDial) -> int:
    """Right angles clockwise from up, 0..3, to the one that 12 o'clock of a whole dial stands nearest to."""
    if isinstance(found, NoDial) or found.close_up is not None or found.twelve is None:
        return 0
    return round(found.geometry.twelve_deg / 90.0) % 4


def _turned_back(upright: Reading, quarters: int) -> Reading:
    """A reading of a photograph turned anticlockwise by so many right angles, as of the photograph as it was."""
    turn = 0.5 * math.pi * quarters
    assert upright.twelve is not None
    divisions = upright.divisions
    return replace(
        upright,
        geometry=upright.geometry.quarter_turned(quarters, upright.density.shape),
        density=np.ascontiguousarray(np.rot90(upright.density, -quarters)),
        divisions=None if divisions is None else replace(divisions, phase=divisions.phase + turn),
        twelve=replace(upright.twelve, radians=math.remainder(upright.twelve.radians + turn, 2 * math.pi)),
    )


def _read_as_is(photo: Photo, twelve_deg: float | None, reader: Reader) -> Reading | NoDial:
    """Find and read the dial in a photograph whichever way it is turned."""
    first = first_look(photo.codes, reader)
    found = find_outline(photo, reader, first)
    if not isinstance(found, NoDial) and found.geometry.seen >= LEAST_OUTLINE:
        return read_at(photo, found.geometry, twelve_deg, reader, found.look, found.certainty)
    place = find_place(photo.codes.shape, first)
    if place is not None:
        reading = _placed(photo, place, twelve_deg, reader)
        return NoDial(LIKE_NO_DIAL) if reading.make[Make.NONE] > NO_DIAL else reading
    if isinstance(found, NoDial):
        return NoDial(found.reason)
    return NoDial(
        f"only {found.geometry.seen:.0%} of the dial's outline lies in the picture; give one that shows the whole "
        "dial, or say that it is a close-up"
    )


def read_close_up(
    photo: Photo, given: Scale | None = None, twelve_deg: float | None = None, reader: Reader | None = None
) -> list[Reading] | NoDial:
    """Read a photograph that is known to show only a part of a dial.

    given : its scale, None to tell it from the strokes. twelve_deg : used where its place on the dial is found.
    One reading where the scale is known; where it is known roughly, the likeliest first and then one SD to either
    side. NoDial where it cannot be told at all.
    """
    look = first_look(photo.codes, reader or load_reader())
    place = find_place(photo.codes.shape, look)
    if place is not None and (given is None or given.allows(place.geometry.pixels_per_radius)):
        return [_placed(photo, place, twelve_deg, reader)]
    scale = given or scale_from_look(look, photo.codes.shape)
    if not scale.known:
        scale = scale_from_strokes(optical_density(photo.grey, frame_geometry(photo.grey.shape)))
    if not scale.known:
        return NoDial(f"the scale of this close-up is unknown: {scale.source}")
    shape = photo.grey.shape
    return [
        replace(read_unnamed(photo, unnamed_geometry(shape, step), look), close_up=CloseUp(None, scale))
        for step in scale.steps()
    ]


def _placed(photo: Photo, place: DialPlace, twelve_deg: float | None, reader: Reader | None) -> Reading:
    scale = Scale(place.geometry.pixels_per_radius, PLACE_SPREAD, "from an arc of the enamel's edge")
    reading = read_at(photo, place.geometry, twelve_deg, reader)
    return replace(reading, close_up=CloseUp(place, scale), outline_certainty=None)
