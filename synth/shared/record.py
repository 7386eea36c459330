"""Specs as plain JSON values and back: what a manifest line carries to draw its picture again."""

from __future__ import annotations

import math
import types
import typing
from dataclasses import fields, is_dataclass
from enum import Enum
from typing import Any, TypeVar

from dialtell.synth.shared.errors import ParameterError

T = TypeVar("T")


def to_record(spec: Any) -> Any:
    """Dataclasses to dicts, tuples to lists, enums to their values; floats keep every bit through JSON."""
    if is_dataclass(spec) and not isinstance(spec, type):
        return {field.name: to_record(getattr(spec, field.name)) for field in fields(spec)}
    if isinstance(spec, Enum):
        return spec.value
    if isinstance(spec, (tuple, list)):
        return [to_record(item) for item in spec]
    if spec is None or isinstance(spec, (str, bool, int, float)):
        return spec
    raise ParameterError(f"{type(spec).__name__} is not a plain value; specs hold numbers, words, tuples and specs")


def from_record(kind: type[T], record: Any) -> T:
    """Rebuild a spec of the given class from `to_record`'s result; unknown or missing fields are errors."""
    return typing.cast(T, _restore(kind, record, kind.__name__))


def _restore(kind: Any, record: Any, path: str) -> Any:
    origin = typing.get_origin(kind)
    if origin in (typing.Union, types.UnionType):
        options = [option for option in typing.get_args(kind) if option is not type(None)]
        return None if record is None else _restore(options[0], record, path)
    if origin is tuple:
        inner = typing.get_args(kind)
        if not isinstance(record, list):
            raise ParameterError(f"{path} is {_short(record)}; give a list")
        kinds = [inner[0]] * len(record) if len(inner) == 2 and inner[1] is Ellipsis else list(inner)
        if len(kinds) != len(record):
            raise ParameterError(f"{path} has {len(record)} values; give {len(kinds)}")
        return tuple(_restore(k, r, f"{path}[{i}]") for i, (k, r) in enumerate(zip(kinds, record, strict=True)))
    if is_dataclass(kind):
        if not isinstance(record, dict):
            raise ParameterError(f"{path} is {_short(record)}; give an object with the fields of {kind}")
        hints = typing.get_type_hints(kind)
        names = {field.name for field in fields(kind)}
        if set(record) != names:
            wrong = sorted(set(record) ^ names)
            raise ParameterError(f"{path} has unknown or missing fields {wrong}; it was written by another version")
        return typing.cast(Any, kind)(**{n: _restore(hints[n], record[n], f"{path}.{n}") for n in names})
    if isinstance(kind, type) and issubclass(kind, Enum):
        try:
            return kind(record)
        except ValueError:
            values = ", ".join(repr(member.value) for member in kind)
            raise ParameterError(f"{path} is {_short(record)}; give one of {values}") from None
    if kind is float and isinstance(record, (int, float)) and not isinstance(record, bool):
        try:
            value = float(record)
        except OverflowError:
            value = math.inf
        if not math.isfinite(value):
            raise ParameterError(f"{path} is {_short(record)}; give a finite number")
        return value
    if not isinstance(record, kind) or (isinstance(record, bool) and kind is not bool):
        raise ParameterError(f"{path} is {_short(record)}; give a value of type {kind.__name__}")
    return record


def _short(record: Any) -> str:
    """A wrong value as a message shows it: cut, and never spelt out when it is a number of thousands of digits."""
    if isinstance(record, int) and record.bit_length() > 200:
        return f"a number of {record.bit_length()} bits"
    said = repr(record)
    return said if len(said) <= 80 else said[:77] + "..."
