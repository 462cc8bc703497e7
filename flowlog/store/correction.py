"""What a correction of a route may say, and its plain form in the store.

A stop is meant by a place in the stream that lies in it, not by its number: numbers change when
stops are split or merged, and two people may correct the same route at once.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final, NamedTuple

from flowlog.errors import FlowlogError
from flowlog.store.rows import CorrectionRow

LONGEST_TEXT: Final = 120
_MOST_CALIBRATIONS: Final = 20
_MOST_AREA_M2: Final = 1e8


class CorrectionError(FlowlogError):
    """A correction that cannot be made, or that this program cannot read."""


class Place(NamedTuple):
    """A moment of a route by its board's clock; see `flowlog.monitor.outputs.Position`."""

    segment: int
    t_us: int


@dataclass(frozen=True, slots=True)
class Rename:
    """The stop at `at` is called `name`; None: it has no name."""

    at: Place
    name: str | None


@dataclass(frozen=True, slots=True)
class GiveArea:
    """The stop at `at` has this area, whatever was counted; None: as counted."""

    at: Place
    area_m2: float | None


@dataclass(frozen=True, slots=True)
class Split:
    """A stop begins at `at`."""

    at: Place


@dataclass(frozen=True, slots=True)
class Merge:
    """No stop begins at `at`: the one that did belongs to the one before."""

    at: Place


@dataclass(frozen=True, slots=True)
class UseCalibrations:
    """The route is to be derived with exactly these calibrations; none: with the rig file alone.

    None as `uids`: as it was watched.
    """

    uids: tuple[str, ...] | None


@dataclass(frozen=True, slots=True)
class NewTips:
    """Before this route tips were exchanged or cleaned: `note` says what was done."""

    note: str


@dataclass(frozen=True, slots=True)
class Undo:
    """The correction `undoes` no longer holds (that may be an undoing, too)."""

    undoes: str


Correction = Rename | GiveArea | Split | Merge | UseCalibrations | NewTips | Undo

_KINDS: Final[dict[type[Correction], str]] = {
    Rename: "rename",
    GiveArea: "area",
    Split: "split",
    Merge: "merge",
    UseCalibrations: "calibrations",
    NewTips: "tips",
    Undo: "undo",
}
KINDS: Final = tuple(_KINDS.values())


def kind_of(said: Correction) -> str:
    return _KINDS[type(said)]


def body_of(said: Correction) -> dict[str, Any]:
    """Its plain form, as JSON has it."""
    match said:
        case Rename(at, name):
            return {"at": at._asdict(), "name": name}
        case GiveArea(at, area_m2):
            return {"at": at._asdict(), "area_m2": area_m2}
        case Split(at) | Merge(at):
            return {"at": at._asdict()}
        case UseCalibrations(uids):
            return {"uids": None if uids is None else list(uids)}
        case NewTips(note):
            return {"note": note}
        case Undo(undoes):
            return {"undoes": undoes}


def said_in(row: CorrectionRow) -> Correction:
    """
    Raises:
        CorrectionError: it is of a kind, or of a form, that this program does not know.
    """
    return said_by(row.kind, row.body)


def said_by(kind: str, body: Mapping[str, Any]) -> Correction:
    """The inverse of `kind_of` and `body_of`.

    Raises:
        CorrectionError: what is wrong with it.
    """
    match kind:
        case "rename":
            name = body.get("name")
            return Rename(_place(body), None if name is None else _text("name", name))
        case "area":
            area = body.get("area_m2")
            return GiveArea(_place(body), None if area is None else _area(area))
        case "split":
            return Split(_place(body))
        case "merge":
            return Merge(_place(body))
        case "calibrations":
            return UseCalibrations(_uids(body.get("uids")))
        case "tips":
            return NewTips(_text("note", body.get("note")))
        case "undo":
            return Undo(_text("undoes", body.get("undoes")))
    raise CorrectionError(f"kind {kind[:40]!r} is not one of {', '.join(KINDS)}")


def _place(body: Mapping[str, Any]) -> Place:
    at = body.get("at")
    if not isinstance(at, dict):
        raise CorrectionError("at: a segment and t_us are missing")
    return Place(_whole("segment", at.get("segment")), _whole("t_us", at.get("t_us")))


def _whole(what: str, number: object) -> int:
    if not isinstance(number, int) or isinstance(number, bool) or not 0 <= number < 2**63:
        raise CorrectionError(f"at: {what} is not a whole number from 0")
    return number


def _text(what: str, text: object) -> str:
    if not isinstance(text, str) or not text.strip() or len(text) > LONGEST_TEXT:
        raise CorrectionError(f"{what}: a text of 1 to {LONGEST_TEXT} characters would be right")
    if not text.isprintable():
        raise CorrectionError(f"{what}: it holds a character that cannot be printed")
    return text.strip()


def _area(area: object) -> float:
    if not isinstance(area, (int, float)) or isinstance(area, bool):
        raise CorrectionError("area: it is not a number of m2")
    if not math.isfinite(area) or not 0 < area <= _MOST_AREA_M2:
        raise CorrectionError("area: it is not above 0 m2, or larger than any route")
    return float(area)


def _uids(uids: object) -> tuple[str, ...] | None:
    if uids is None:
        return None
    if not isinstance(uids, list) or len(uids) > _MOST_CALIBRATIONS:
        raise CorrectionError("uids: a list of calibrations' ids would be right")
    return tuple(_text("uids", uid) for uid in uids)
