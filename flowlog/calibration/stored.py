"""Results as JSON and back: three objects, as the table of calibrations keeps them.

A result's fields are sorted into what was found (`values`), what it was found from (`evidence`)
and how sure it is (`uncertainty`). Reading gives back the very result that was written, without
computing anew, so that an old calibration stays what it was when a formula changes.
"""

from __future__ import annotations

import dataclasses
import functools
import math
import types
import typing
from typing import Any, ClassVar, Literal, Self, Union

from flowlog.calibration.faults import CalibrationError


class Stored:
    """Base of all results: frozen dataclasses of numbers, texts, tuples and such dataclasses."""

    __slots__ = ()
    kind: ClassVar[str]
    EVIDENCE: ClassVar[frozenset[str]]
    UNCERTAINTY: ClassVar[frozenset[str]]

    def to_json(self) -> dict[str, Any]:
        """{"kind", "values", "evidence", "uncertainty"}, of what JSON has; infinity is "inf"."""
        parts: dict[str, Any] = {
            "kind": self.kind, "values": {}, "evidence": {}, "uncertainty": {}
        }  # fmt: skip
        for field in dataclasses.fields(self):  # type: ignore[arg-type]
            parts[self._part(field.name)][field.name] = plain(getattr(self, field.name))
        return parts

    @classmethod
    def from_json(cls, data: dict[str, Any]) -> Self:
        """The result that `to_json` wrote. CalibrationError if it is none of this kind."""
        if data.get("kind", cls.kind) != cls.kind:
            raise CalibrationError(f"calibration: {data['kind']!r} is not a {cls.kind} calibration")
        given: dict[str, Any] = {}
        for part in ("values", "evidence", "uncertainty"):
            given.update(data.get(part) or {})
        try:
            return typing.cast(Self, shaped(cls, given))
        except (TypeError, ValueError, KeyError, AttributeError) as fault:
            raise CalibrationError(
                f"calibration: the stored {cls.kind} cannot be read ({fault})"
            ) from fault

    @classmethod
    def _part(cls, name: str) -> str:
        if name in cls.EVIDENCE:
            return "evidence"
        return "uncertainty" if name in cls.UNCERTAINTY else "values"


def plain(value: Any) -> Any:
    """A dataclass, tuple or number as JSON has it."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {one.name: plain(getattr(value, one.name)) for one in dataclasses.fields(value)}
    if isinstance(value, (tuple, list)):
        return [plain(one) for one in value]
    if isinstance(value, float) and not math.isfinite(value):
        return str(value)
    return value


def shaped(wanted: Any, data: Any) -> Any:
    """JSON in the shape of a type, the inverse of `plain`. A missing field keeps its default."""
    origin = typing.get_origin(wanted)
    if origin in (Union, types.UnionType):
        if data is None:
            return None
        (only,) = [one for one in typing.get_args(wanted) if one is not type(None)]
        return shaped(only, data)
    if origin is Literal:
        if data not in typing.get_args(wanted):
            raise ValueError(f"{data!r} is unknown")
        return data
    if origin is tuple:
        inner = typing.get_args(wanted)
        if len(inner) == 2 and inner[1] is Ellipsis:
            return tuple(shaped(inner[0], one) for one in data)
        return tuple(shaped(one, item) for one, item in zip(inner, data, strict=True))
    if dataclasses.is_dataclass(wanted) and isinstance(wanted, type):
        hints = _hints(wanted)
        return wanted(
            **{
                one.name: shaped(hints[one.name], data[one.name])
                for one in dataclasses.fields(wanted)
                if one.name in data
            }
        )
    if wanted in (float, int, str, bool):
        return wanted(data)
    raise TypeError(f"no way to read {wanted}")


@functools.cache
def _hints(wanted: type) -> dict[str, Any]:
    return typing.get_type_hints(wanted)
