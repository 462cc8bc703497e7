"""What looks odd about a sheet. Remarks only: a person may know better, and the label does."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import date, timedelta
from typing import Final

from flowlog.record.forms import Form, form_of
from flowlog.record.sheet import Measured, Sheet
from flowlog.record.values import Value
from flowlog.review.words import duration
from flowlog.units import Units, show

_MPH: Final = 0.44704
_EPA_NUMBER: Final = re.compile(r"\d{1,6}-\d{1,6}(-\d{1,7})?|(SLN\s*)?[A-Z]{2}-?\d{6,}", re.I)
"""Company-product(-distributor), or a state's special local need. Common practice, no source."""


def remarks(sheet: Sheet, made: date, first: date | None = None) -> list[str]:
    """Sentences about what does not fit together.

    Args:
        made: the day on which the revision is written.
        first: that of the record's first revision, if it is another one.
    """
    form, measured = form_of(sheet.form), sheet.measured
    found = _when(sheet, form, made, first or made) + _where(sheet, form)
    for number, product in enumerate(sheet.products, 1):
        name = product["product"].text if "product" in product else f"product {number}"
        found += [f"{name}: {text}" for text in _product(sheet, product)]
    return found + _weather(sheet) + _log(measured)


def applied_on(sheet: Sheet) -> date | None:
    """The day of the application, if the sheet knows it."""
    value = sheet.value("date")
    return None if value is None else date.fromisoformat(value.text)


def keep_until(sheet: Sheet) -> date | None:
    """The day until which the set's source wants the record kept."""
    applied = applied_on(sheet)
    if applied is None:
        return None
    year = applied.year + form_of(sheet.form).keep_years
    try:
        return applied.replace(year=year)
    except ValueError:  # 29 February
        return date(year, 3, 1)


def write_by(sheet: Sheet) -> date | None:
    """The day until which the record should be written, if the set's source names one."""
    applied, days = applied_on(sheet), form_of(sheet.form).write_within_days
    return None if applied is None or days is None else applied + timedelta(days=days)


def _when(sheet: Sheet, form: Form, made: date, first: date) -> list[str]:
    found = []
    applied, limit = applied_on(sheet), write_by(sheet)
    if sheet.measured.clock == "none":
        found.append(
            "The computer's clock was not set on the route, so the log has no date or time of day: "
            "give them from your own notes."
        )
    if applied is not None and applied > made:
        found.append(f"The date {applied} lies after {made}, on which this was written.")
    if limit is not None and first > limit:
        found.append(
            f"First written on {first}, later than within the {form.write_within_days} days that "
            f"the set's source gives, which ended on {limit}."
        )
    for key in ("date", "begin", "end"):
        given, logged = sheet.values.get(key), _logged(sheet, key)
        if given is not None and logged is not None and given.text != logged.text:
            found.append(f"The {key} given, {given.text}, is not that of the log, {logged.text}.")
    return found


def _where(sheet: Sheet, form: Form) -> list[str]:
    found = []
    area = sheet.value("area")
    limit = form.area_below_m2
    if area is not None and area.si is not None and limit is not None and area.si >= limit:
        found.append(
            f"The area, {area.text}, is not less than 1/10 acre: the set for spot treatments does "
            "not fit."
        )
    for key, measured in (("area", sheet.measured.area_m2), ("volume", sheet.measured.volume_m3)):
        given = sheet.values.get(key)
        if given is None or given.si is None or not measured:
            continue
        if abs(given.si / measured - 1) > 0.1:
            found.append(f"The {key} given is {_times(given.si / measured)} the one of the log.")
    return found


def _product(sheet: Sheet, product: Mapping[str, Value]) -> list[str]:
    found = []
    number = product.get("registration")
    if number and number.text != "exempt" and not _EPA_NUMBER.fullmatch(number.text):
        found.append(
            f"'{number.text}' does not look like an EPA registration number (company-product, for "
            "instance 1234-56): check it against the label."
        )
    amount, rate = product.get("amount"), product.get("label_rate")
    volume = sheet.value("volume")
    if amount is None or amount.si is None:
        return found
    if amount.si_unit == "m3" and volume and volume.si and amount.si > volume.si:
        found.append(
            f"the amount, {amount.text}, is more than the tank mix, {volume.text}: it should be "
            "that of the undiluted product."
        )
    wanted = None if rate is None else amount_by_rate(sheet, rate)
    if wanted is not None and wanted[1] == amount.si_unit and wanted[0] > 0:
        ratio = amount.si / wanted[0]
        if abs(ratio - 1) > 0.1:
            found.append(
                f"the amount, {amount.text}, is {_times(ratio)} what its rate makes of this "
                f"{'area' if rate and rate.si_unit in ('m3/m2', 'kg/m2') else 'tank mix'}, "
                f"{_amount(*wanted, sheet.measured.units)}."
            )
    return found


def amount_by_rate(sheet: Sheet, rate: Value) -> tuple[float, str] | None:
    """Product that a rate makes of the sheet's area or volume, in SI and with its unit."""
    area, volume = sheet.value("area"), sheet.value("volume")
    per_area = rate.si_unit in ("m3/m2", "kg/m2")
    base = area if per_area else volume
    if base is None or base.si is None or rate.si is None:
        return None
    return rate.si * base.si, "kg" if rate.si_unit.startswith("kg") else "m3"


def _weather(sheet: Sheet) -> list[str]:
    wind = sheet.value("wind_speed")
    if wind is None or wind.si is None:
        return []
    if wind.si < 3 * _MPH * 0.999:
        return [
            "Wind below 3 mph is suspect: its direction varies, and the air may be layered "
            "(pesticide stewardship pages of US universities; the label wins)."
        ]
    if wind.si > 10 * _MPH * 1.001:
        return [
            "Wind above 10 mph is beyond the usual window of labels and extension leaflets, 3 to "
            "10 mph (the label wins)."
        ]
    return []


def _log(measured: Measured) -> list[str]:
    found = []
    if not measured.route_ended:
        found.append("The route was still open when this was written: its figures may grow.")
    if measured.gap_s > 0:
        found.append(
            f"{duration(measured.gap_s)} of the log are missing: volume and area may be too small."
        )
    if measured.area_m2 is not None and not measured.speed_measured:
        found.append(
            "The area is an estimate: effective width times time at the calibrated speed; the "
            "speed was not measured."
        )
    return found


def _logged(sheet: Sheet, key: str) -> Value | None:
    return Sheet(sheet.form, sheet.measured).value(key)


def _times(ratio: float) -> str:
    if 0.5 <= ratio <= 2:
        return f"{100 * (ratio - 1):+.0f} % off"
    return f"{ratio:.3g} times"


def _amount(si: float, si_unit: str, units: Units) -> str:
    if si_unit == "kg":
        return show(si, "mass", units)
    small = "fl oz" if units == "us" else "mL"
    return show(si, "volume", units, unit=small)
