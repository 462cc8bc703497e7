"""A record for other programs: JSON with everything, CSV with one line a field.

Both hold the answers as written, and in SI with the unit beside them. Both can be read back.
"""

from __future__ import annotations

import csv
import json
from typing import Any, Final, TextIO

from flowlog.record.checks import keep_until, write_by
from flowlog.record.fields import BY_KEY, OTHER_KEYS, PRODUCT_KEYS
from flowlog.record.forms import NOTICES, form_of
from flowlog.record.history import Revision
from flowlog.record.sheet import Sheet, SheetError, sheet_of
from flowlog.record.values import Source, Value
from flowlog.review.words import iso_times

FORMAT: Final = "flowlog application record"
COLUMNS: Final = (
    *("record", "revision", "state", "form", "route", "stop", "product"),
    *("field", "label", "text", "si", "si_unit", "from"),
)


def record_dict(revision: Revision) -> dict[str, Any]:
    """One revision as plain data."""
    row, sheet = revision.stored.row, revision.sheet
    form = form_of(sheet.form)
    made_local, made_utc = iso_times(row.made_wall_us)
    until, by = keep_until(sheet), write_by(sheet)
    return {
        "format": FORMAT,
        "record": revision.stored.number,
        "revision": revision.stored.revision,
        "uid": row.uid,
        "record_uid": row.record_uid,
        "supersedes": row.supersedes,
        "state": row.state,
        "made_local": made_local,
        "made_utc": made_utc,
        "made_by": row.made_by,
        "reason": row.reason,
        "set_of_fields": {
            "key": form.key,
            "title": form.title,
            "source": form.source,
            "keep_until": None if until is None else until.isoformat(),
            "write_by": None if by is None else by.isoformat(),
        },
        "missing": sheet.missing_words(),
        "notices": list(NOTICES),
        "sheet": sheet.plain(),
    }


def record_json(revision: Revision, out: TextIO) -> None:
    json.dump(record_dict(revision), out, indent=2, ensure_ascii=False, allow_nan=False)
    out.write("\n")


def sheet_from_json(text: str) -> Sheet:
    """The sheet in what `record_json` wrote.

    Raises:
        SheetError: it is not such a file.
    """
    try:
        data = json.loads(text)
        if data["format"] != FORMAT:
            raise SheetError(f"record: format {data['format']!r} is not '{FORMAT}'")
        return sheet_of(data["sheet"])
    except (ValueError, KeyError, TypeError) as error:
        raise SheetError(f"record: not an application record ({error!r})") from error


def record_csv(revision: Revision, out: TextIO) -> None:
    """One line a field that has an answer. Open `out` with newline=""."""
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    sheet, stored = revision.sheet, revision.stored
    head = [stored.number, stored.revision, stored.row.state, sheet.form, sheet.measured.route]
    head.append("" if sheet.measured.stop is None else sheet.measured.stop)
    for number, product in enumerate(sheet.products, 1):
        for key in PRODUCT_KEYS:
            if key in product:
                writer.writerow([*head, number, *_cells(key, product[key])])
    for key in OTHER_KEYS:
        found = sheet.value(key)
        if found is not None:
            writer.writerow([*head, "", *_cells(key, found)])


def values_from_csv(source: TextIO) -> dict[tuple[int, str], Value]:
    """The answers in what `record_csv` wrote, by (product or 0, field)."""
    found: dict[tuple[int, str], Value] = {}
    for row in csv.DictReader(source):
        si = float(row["si"]) if row["si"] else None
        word: Source = row["from"]  # type: ignore[assignment]
        place = (int(row["product"] or 0), row["field"])
        found[place] = Value(_unguarded(row["text"]), si, row["si_unit"], word)
    return found


def _cells(key: str, found: Value) -> list[str]:
    si = "" if found.si is None else repr(found.si)
    return [key, BY_KEY[key].label, _guarded(found.text), si, found.si_unit, found.source]


def _guarded(text: str) -> str:
    """A spreadsheet would run a text that begins like a formula; an apostrophe stops it."""
    return f"'{text}" if text[:1] in set("=+-@'") else text


def _unguarded(text: str) -> str:
    return text[1:] if text[:1] == "'" else text
