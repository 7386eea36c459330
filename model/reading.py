"""From a photograph to what the net sees, in the order it happens: outline, density, sharpness, rotation, zones,
patches."""

from __future__ import annotations

from dataclasses import dataclass

from dialtell.model.density import optical_density
from dialtell.model.geometry import DialGeometry, Image
from dialtell.model.outline import NoDial, find_dial
from dialtell.model.patches import PatchSet, cut_patches
from dialtell.model.rotation import Rotation, find_rotation
from dialtell.model.sharpness import Sharpness, measure_sharpness
from dialtell.model.zones import ZoneMap, find_zones


@dataclass(frozen=True, eq=False)
class Reading:
    """One dial read.

    geometry : with the rotation found, if any. density : (H, W) float32 D, photo px. rotation : None without a
    track to read it from (12 o'clock is then taken to be up).
    """

    geometry: DialGeometry
    density: Image
    sharpness: Sharpness
    rotation: Rotation | None
    zones: ZoneMap
    patches: PatchSet


def read_at(grey: Image, geometry: DialGeometry) -> Reading:
    """Read a dial whose outline is known. grey : (H, W) float32 linear light."""
    density = optical_density(grey, geometry)
    sharpness = measure_sharpness(density, geometry)
    rotation = find_rotation(density, geometry) or None
    phase = 0.0
    if rotation is not None:
        geometry, phase = geometry.turned(rotation.radians), rotation.tick_phase
    zones = find_zones(density, geometry)
    patches = cut_patches(density, geometry, zones, phase, sharpness.true_pixels_per_radius)
    return Reading(geometry, density, sharpness, rotation, zones, patches)


def read_dial(grey: Image) -> Reading | NoDial:
    """Find the dial in a photograph and read it; NoDial says why there is none."""
    found = find_dial(grey)
    if isinstance(found, NoDial):
        return found
    return read_at(grey, found)
