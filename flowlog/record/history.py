"""A record through its revisions: who changed what, and why."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from flowlog.errors import FlowlogError
from flowlog.record.fields import BY_KEY, OTHER_KEYS, PRODUCT_KEYS
from flowlog.record.sheet import Sheet, sheet_of
from flowlog.store.rows import StoredRecord


class NoRecordError(FlowlogError):
    """There is no such record or revision."""


@dataclass(frozen=True, slots=True)
class Revision:
    """One revision with its content."""

    stored: StoredRecord
    sheet: Sheet

    @property
    def name(self) -> str:
        return f"record {self.stored.number}, revision {self.stored.revision}"


def revisions_of(stored: Sequence[StoredRecord], number: int) -> list[Revision]:
    """All revisions of a record, oldest first.

    Raises:
        NoRecordError: there is no record of this number.
    """
    found = [Revision(row, sheet_of(row.row.fields)) for row in stored if row.number == number]
    if found:
        return found
    most = max((row.number for row in stored), default=0)
    hint = f"there are records 1 to {most}" if most else "none was made yet: flowlog sheet new"
    raise NoRecordError(f"there is no record {number} ({hint})")


def latest(stored: Sequence[StoredRecord]) -> list[StoredRecord]:
    """The newest revision of each record, in the order of their numbers."""
    newest = {row.number: row for row in stored}
    return [newest[number] for number in sorted(newest)]


def past_by(revisions: Sequence[Revision], index: int) -> str | None:
    """A sentence if a revision was made without knowledge of the one before it."""
    if index == 0:
        return None
    before, row = revisions[index - 1].stored, revisions[index].stored.row
    if row.supersedes == before.row.uid:
        return None
    return f"made without knowing revision {before.revision}"


def changes(old: Sheet, new: Sheet) -> list[str]:
    """What differs, one sentence a field; the log's figures as well as people's answers."""
    found = []
    if old.form != new.form:
        found.append(f"Set of fields: {old.form} -> {new.form}")
    for number in range(1, max(len(old.products), len(new.products)) + 1):
        for key in PRODUCT_KEYS:
            before = _text(_product(old, number), key)
            after = _text(_product(new, number), key)
            if before != after:
                label = f"Product {number}, {BY_KEY[key].label.lower()}"
                found.append(f"{label}: {before} -> {after}")
    for key in OTHER_KEYS:
        before, after = _own(old, key), _own(new, key)
        if before != after:
            found.append(f"{BY_KEY[key].label}: {before} -> {after}")
    if old.measured != new.measured and not found:
        found.append("The log's own figures were taken anew")
    return found


def _product(sheet: Sheet, number: int) -> dict[str, str]:
    if number > len(sheet.products):
        return {}
    return {key: value.text for key, value in sheet.products[number - 1].items()}


def _text(table: dict[str, str], key: str) -> str:
    return table.get(key, "(empty)")


def _own(sheet: Sheet, key: str) -> str:
    value = sheet.value(key)
    return "(empty)" if value is None else value.text
