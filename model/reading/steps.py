"""From a photograph to what the net sees, in the order it happens: outline, density, sharpness, rotation, zones,
patches. What is known beforehand takes the place of what would be looked for."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from dialtell.model.reading.close_up import (
    PLACE_SPREAD,
    CloseUp,
    DialPlace,
    find_place,
    frame_geometry,
    unnamed_geometry,
)
from dialtell.model.reading.density import optical_density
from dialtell.model.reading.geometry import DialGeometry, Image
from dialtell.model.reading.known import Known, Outline
from dialtell.model.reading.outline import NoDial, find_dial
from dialtell.model.reading.patches import PatchSet, cut_patches, reduced
from dialtell.model.reading.rotation import Rotation, find_rotation
from dialtell.model.reading.scale import Scale, given_scale, scale_from_strokes
from dialtell.model.reading.sharpness import Sharpness, measure_sharpness
from dialtell.model.reading.zones import ZoneMap, find_zones, unnamed_zones


@dataclass(frozen=True, eq=False)
class Reading:
    """One dial read.

    geometry : with the rotation found or given, if any. density : (H, W) float32 D, photo px. rotation : None without a
    track to read it from (12 o'clock is then taken to be up, unless it was given). close_up : None unless it shows part
    of a dial. twelve_given : whether where 12 stands was said beforehand.
    """

    geometry: DialGeometry
    density: Image
    sharpness: Sharpness
    rotation: Rotation | None
    zones: ZoneMap
    patches: PatchSet
    close_up: CloseUp | None = None
    twelve_given: bool = False


def read(grey: Image, known: Known) -> list[Reading] | NoDial:
    """Read a photograph with what is known of it. grey : (H, W) float32 linear light.

    One reading; of a close-up whose scale is known only roughly three, the likeliest first and then one SD to either
    side. NoDial says why there is none.
    """
    if known.outline is not None:
        return [read_at(grey, outlined(known.outline), known.twelve_deg)]
    if known.part:
        per_mm = known.pixels_per_mm
        return read_close_up(grey, None if per_mm is None else given_scale(per_mm, known.diameter_mm), known.twelve_deg)
    found = read_dial(grey, known.twelve_deg)
    return found if isinstance(found, NoDial) else [found]


def outlined(outline: Outline) -> DialGeometry:
    """The dial within an outline that is known, 12 o'clock up."""
    return DialGeometry((outline.cx, outline.cy), (outline.a, outline.b), math.radians(outline.degrees))


def read_at(grey: Image, geometry: DialGeometry, twelve_deg: float | None = None) -> Reading:
    """Read a dial whose outline is known. grey : (H, W) float32 linear light.

    twelve_deg : where 12 o'clock stands in the photograph, degrees clockwise from up; None to find it.
    """
    density = optical_density(grey, geometry)
    sharpness = measure_sharpness(density, geometry)
    rotation = find_rotation(density, geometry) or None
    phase = 0.0
    if rotation is not None:
        if twelve_deg is not None:
            rotation = rotation.nearest(geometry.rotation_to(twelve_deg))
        geometry, phase = geometry.turned(rotation.radians), rotation.tick_phase
    elif twelve_deg is not None:
        geometry = geometry.turned(geometry.rotation_to(twelve_deg))
    small, place = reduced(density, geometry)  # once, for both
    zones = find_zones(small, place, None if rotation is None else rotation.track_radius)
    patches = cut_patches(small, place, zones, phase, sharpness.true_pixels_per_radius)
    return Reading(geometry, density, sharpness, rotation, zones, patches, twelve_given=twelve_deg is not None)


def read_unnamed(grey: Image, geometry: DialGeometry) -> Reading:
    """Read a close-up that does not show where on the dial it lies: all its strokes as one zone, patches upright.

    grey : (H, W) float32 linear light. geometry : a circle about the frame's middle whose radius carries the scale.
    """
    density = optical_density(grey, geometry)
    sharpness = measure_sharpness(density, geometry)
    zones = unnamed_zones()
    patches = cut_patches(density, geometry, zones, 0.0, sharpness.true_pixels_per_radius)
    return Reading(geometry, density, sharpness, None, zones, patches)


def read_dial(grey: Image, twelve_deg: float | None = None) -> Reading | NoDial:
    """Find the dial in a photograph and read it; NoDial says why there is none.

    A photograph without a dial's outline is read as a close-up if an arc of track and rim shows where it lies.
    """
    found = find_dial(grey)
    if not isinstance(found, NoDial):
        return read_at(grey, found, twelve_deg)
    place = find_place(grey)
    if place is None:
        return NoDial(found.reason)
    return _placed(grey, place, twelve_deg)


def read_close_up(grey: Image, given: Scale | None = None, twelve_deg: float | None = None) -> list[Reading] | NoDial:
    """Read a photograph that is known to show only a part of a dial.

    given : its scale, None to tell it from the strokes. twelve_deg : used where its place on the dial is found.
    One reading where the scale is known; where it is known roughly, the likeliest first and then one SD to either
    side. NoDial where it cannot be told at all.
    """
    place = find_place(grey)
    if place is not None and (given is None or given.allows(place.geometry.pixels_per_radius)):
        return [_placed(grey, place, twelve_deg)]
    scale = given or scale_from_strokes(optical_density(grey, frame_geometry(grey.shape)))
    if not scale.known:
        return NoDial(f"the scale of this close-up is unknown: {scale.source}")
    return [
        replace(read_unnamed(grey, unnamed_geometry(grey.shape, step)), close_up=CloseUp(None, scale))
        for step in scale.steps()
    ]


def _placed(grey: Image, place: DialPlace, twelve_deg: float | None) -> Reading:
    scale = Scale(place.geometry.pixels_per_radius, PLACE_SPREAD, "from an arc of the track and the enamel's edge")
    return replace(read_at(grey, place.geometry, twelve_deg), close_up=CloseUp(place, scale))
