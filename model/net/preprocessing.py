"""What the net's input means. Weights carry it and are refused where it differs; VERSION names kept bags.

VERSION counts changes that no number below shows: how the dial is turned, where zones and patches are set, how the
resolution is told. tests/model/test_preprocessing.py holds the patches of one dial to what this version makes of it.
"""

from __future__ import annotations

from dialtell.model.reading import figure_patches, fine_patches, patches, zones
from dialtell.synth.shared.terms import ZONES

# 2: close-ups, sub-dials off the upright, faint lines in the search for zones; 3: true resolution, the reader;
# 4: patches of several scales; 5: patches of single shapes
VERSION = 5


def preprocessing() -> dict[str, object]:
    """Everything that training and scoring must agree on, ready for JSON."""
    return {
        "version": VERSION,
        "patch_side_px": patches.SIDE,
        "patch_px_per_radius": patches.SCALE,
        "density_range": [patches.LOW, patches.HIGH],
        "ink_density": zones.INK,
        "ink_share": [patches.LEAST_INK, patches.MOST_INK],
        "most_hand_share": patches.MOST_HIDDEN,
        "full_density": list(patches.FULL),
        "zones": [str(zone) for zone in ZONES],
        "unnamed_zone": str(patches.UNNAMED_ZONE),
        "finest": fine_patches.FINEST,
        "short_of_scale": fine_patches.SHORT,
        "most_fine": fine_patches.MOST,
        "figure_scales": list(figure_patches.LEVELS),
        "smallest_figure": figure_patches.SMALLEST,
        "figure_filled": figure_patches.FILLED,
        "figure_ink": [figure_patches.BLACK, figure_patches.BESIDE],
        "most_figures": figure_patches.MOST,
    }


def difference(found: object) -> str:
    """In words, what weights say of their preprocessing that is not so here; empty if they agree."""
    if not isinstance(found, dict):
        return "no preprocessing is stated"
    mine = preprocessing()
    apart = [name for name in mine if found.get(name) != mine[name]]
    apart += [name for name in found if name not in mine]
    return "; ".join(f"{name} is {found.get(name, 'not stated')}, here {mine.get(name, 'unknown')}" for name in apart)
