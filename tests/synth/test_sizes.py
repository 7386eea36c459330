"""Sizes of the trade against published values and worked examples."""

import math

import pytest

from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.shared.sizes import dial_diameter_mm, lignes_mm, size_mm

# computed from n size = 1 + (5 + n) / 30 inch (NAWCC encyclopedia, "Watch Size")
WORKED = [
    (18, 44.873), (16, 43.180), (14, 41.487), (12, 39.793), (10, 38.100), (8, 36.407), (6, 34.713), (0, 29.633)
]  # fmt: skip


@pytest.mark.parametrize(("size", "millimetres"), WORKED)
def test_american_sizes(size: int, millimetres: float) -> None:
    assert size_mm(size) == pytest.approx(millimetres, abs=5e-4)


def test_dial_agrees_with_plate_to_one_percent() -> None:
    # a 16-size dial measures 42.86 mm (same page)
    assert size_mm(16) == pytest.approx(42.86, rel=0.01)


@pytest.mark.parametrize(("lignes", "millimetres"), [(18, 40.60), (19, 42.86), (20, 45.12)])
def test_lignes(lignes: int, millimetres: float) -> None:
    assert lignes_mm(lignes) == pytest.approx(millimetres, abs=6e-3)


def test_one_way_at_a_time() -> None:
    assert dial_diameter_mm() is None
    assert dial_diameter_mm(size=18) == size_mm(18)
    assert dial_diameter_mm(lignes=19) == lignes_mm(19)
    assert dial_diameter_mm(diameter_mm=43) == 43.0
    with pytest.raises(ParameterError, match=r"size \(18\) and diameter_mm \(45\.0\).*only one"):
        dial_diameter_mm(size=18, diameter_mm=45.0)


def test_refusals_name_value_and_remedy() -> None:
    with pytest.raises(ParameterError, match=r"size is -1.*give a diameter"):
        dial_diameter_mm(size=-1)
    with pytest.raises(ParameterError, match=r"diameter_mm is 9\.0 mm; give a value from 10\.0 to 600\.0 mm"):
        dial_diameter_mm(diameter_mm=9.0)
    with pytest.raises(ParameterError, match="diameter_mm is nan"):
        dial_diameter_mm(diameter_mm=math.nan)
    with pytest.raises(ParameterError, match="lignes"):
        dial_diameter_mm(lignes=math.inf)
    with pytest.raises(ParameterError, match="size"):
        dial_diameter_mm(size=math.nan)
