"""Specs through JSON and back."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pytest

from dialtell.synth.scene import DialSpec, Range, render, sample_spec
from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.shared.record import from_record, to_record
from dialtell.synth.shared.terms import Process


def through_json(spec: DialSpec) -> Any:
    return json.loads(json.dumps(to_record(spec), allow_nan=False))


def test_many_specs_come_back_equal() -> None:
    for index in range(40):
        spec = sample_spec(11, index, Range(mixed=0.3, part=0.3))
        assert from_record(DialSpec, through_json(spec)) == spec


@pytest.mark.parametrize("process", Process)
def test_a_close_up_at_120_px_per_mm_is_redrawn_byte_for_byte(process: Process) -> None:
    watch = replace(Range().variety, layouts=("standard",))
    spec = sample_spec(12, 3, Range(max_side=300, pixels_per_radius=(2600.0, 2700.0), variety=watch), process)
    assert spec.view.field == "part" and spec.view.px_per_mm > 110
    assert np.array_equal(render(from_record(DialSpec, through_json(spec))), render(spec))


@pytest.fixture
def record() -> Any:
    return through_json(sample_spec(11, 0))


def test_a_missing_field_is_named(record: Any) -> None:
    del record["making"]["pull"]["turn_deg"]
    with pytest.raises(ParameterError, match=r"DialSpec.making.pull .*turn_deg.*another version"):
        from_record(DialSpec, record)


def test_an_unknown_field_is_named(record: Any) -> None:
    record["light"]["moon"] = 1.0
    with pytest.raises(ParameterError, match=r"DialSpec.light .*moon"):
        from_record(DialSpec, record)


@pytest.mark.parametrize("wrong", ["12", None, True, [1.0]])
def test_a_value_of_the_wrong_type_is_named(record: Any, wrong: object) -> None:
    record["view"]["px_per_mm"] = wrong
    with pytest.raises(ParameterError, match=r"DialSpec.view.px_per_mm .*float"):
        from_record(DialSpec, record)


def test_a_tuple_of_the_wrong_length_is_named(record: Any) -> None:
    record["making"]["pull"]["shift_mm"] = [0.1]
    with pytest.raises(ParameterError, match=r"shift_mm has 1 values; give 2"):
        from_record(DialSpec, record)


def test_ranges_are_checked_again_when_read(record: Any) -> None:
    record["making"]["workshop"]["figures"]["wobble"] = 99.0
    with pytest.raises(ParameterError, match=r"wobble is 99\.0"):
        from_record(DialSpec, record)


def test_an_unknown_process_is_refused(record: Any) -> None:
    record["making"]["processes"][0] = "stencil"
    with pytest.raises(ValueError, match="stencil"):
        from_record(DialSpec, record)


def test_arrays_are_not_plain_values() -> None:
    with pytest.raises(ParameterError, match="ndarray is not a plain value"):
        to_record({"a": np.zeros(2)}["a"])


@pytest.mark.parametrize("value", [float("nan"), float("inf"), 10**400])
def test_numbers_that_are_not_finite_are_refused(value: float) -> None:
    @dataclass(frozen=True)
    class One:
        length: float

    with pytest.raises(ParameterError, match=r"One\.length is .{1,40}; give a finite number"):
        from_record(One, {"length": value})
