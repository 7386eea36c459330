"""Watch sizes of the trade, in millimetres.

American (Lancashire) size n of a full plate is 1 + (5 + n) / 30 inch across (NAWCC encyclopedia, "Watch Size");
the same page measures a 16-size dial at 42.86 mm, so dial and plate agree to about 1 %. A Paris ligne is
2.2558291 mm. Below size 0 the sources disagree by about 0.85 mm, so no such size is accepted.
"""

from __future__ import annotations

from dialtell.synth.shared.errors import ParameterError, require_range

INCH_MM = 25.4
LIGNE_MM = 2.2558291
SMALLEST_MM, LARGEST_MM = 10.0, 600.0  # from a lady's watch to a turret clock's inner dial


def size_mm(size: float) -> float:
    """Diameter in mm of an American (Lancashire) size, 0 or above; ParameterError below 0."""
    if not size >= 0:
        raise ParameterError(f"size is {size}; sources disagree about sizes below 0, so give a diameter in mm instead")
    diameter = INCH_MM * (1.0 + (5.0 + size) / 30.0)
    require_range(f"the diameter of size {size:g}", diameter, SMALLEST_MM, LARGEST_MM, "mm")
    return diameter


def lignes_mm(lignes: float) -> float:
    """Diameter in mm of a size in Paris lignes; ParameterError when it is not between 10 and 600 mm."""
    diameter = LIGNE_MM * lignes
    require_range(f"the diameter of {lignes:g} lignes", diameter, SMALLEST_MM, LARGEST_MM, "mm")
    return diameter


def dial_diameter_mm(
    size: float | None = None, lignes: float | None = None, diameter_mm: float | None = None
) -> float | None:
    """Dial diameter in mm from at most one of the three ways to give it; None when none is given.

    Raises ParameterError when more than one is given or the result is not between 10 and 600 mm.
    """
    given = {"size": size, "lignes": lignes, "diameter_mm": diameter_mm}
    named = [f"{name} ({value})" for name, value in given.items() if value is not None]
    if len(named) > 1:
        raise ParameterError(f"{' and '.join(named)} are given together; give only one of them")
    if size is not None:
        return size_mm(size)
    if lignes is not None:
        return lignes_mm(lignes)
    if diameter_mm is not None:
        require_range("diameter_mm", diameter_mm, SMALLEST_MM, LARGEST_MM, "mm")
        return float(diameter_mm)
    return None
