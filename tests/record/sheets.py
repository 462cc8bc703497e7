"""Helpers: a measured stop and sheets, invented."""

from __future__ import annotations

from dataclasses import replace

from flowlog.record.history import Revision
from flowlog.record.sheet import AlertNote, Measured, Sheet
from flowlog.record.values import value_of
from flowlog.store.rows import RecordRow, StoredRecord

MADE_US = 1_780_012_800_000_000
"""2026-05-29 00:00 UTC."""
MEASURED = Measured(
    rig="Demo cart",
    units="us",
    route=1,
    route_uid="f2fa",
    route_name=None,
    route_ended=True,
    stop=2,
    stop_name="north lawn",
    stops=("north lawn",),
    begin_local="2026-05-28T14:05:10.000-05:00",
    begin_utc="2026-05-28T19:05:10.000Z",
    end_local="2026-05-28T14:50:00.000-05:00",
    end_utc="2026-05-28T19:50:00.000Z",
    clock="unconfirmed",
    clock_sentence="Times are those of the computer's clock.",
    elapsed_s=2690.0,
    spraying_s=2400.0,
    volume_m3=0.068137412112,  # 18 gal
    volume_share=0.04,
    area_m2=1114.83648,  # 12,000 ft2
    area_share=0.06,
    rate_m3_m2=6.1118799e-5,  # 1.5 gal/1000 ft2
    rate_share=0.07,
    rate_sentence="",
    asked_rate_m3_m2=6.1118799e-5,
    pressure_pa=275790.0,
    speed_m_s=1.34,
    speed_measured=True,
    effective_width_m=4.064,
    within_10_share=0.9,
    gap_s=0.0,
    lost_samples=0,
    alerts=(AlertNote("0.9 tip of 8 blocked", "2026-05-28T14:10:00.000-05:00", open=False),),
)
PRODUCT = {
    "product": "Sample Herbicide",
    "registration": "1234-56",
    "amount": "4.8 fl oz",
    "label_rate": "0.4 fl oz/1000 ft2",
}
ANSWERS = {
    "site": "turf, home lawn",
    "location": "12 Sample Road",
    "applicator": "A. Sample",
    "certificate": "PA-0000",
    "wind_speed": "5 mph",
    "wind_from": "SW",
    "temperature": "72 F",
}


def sheet(form: str = "private", measured: Measured = MEASURED, **answers: str | None) -> Sheet:
    """A sheet with everything that the private set asks for; None takes an answer out."""
    words = {**PRODUCT, **ANSWERS, **answers}
    new = {
        (int(key in PRODUCT or key in ("active", "strength")), key): value_of(key, text)
        for key, text in words.items()
        if text is not None
    }
    return Sheet(form, measured).with_values(new)


def measured(**changed: object) -> Measured:
    return replace(MEASURED, **changed)


def revision(content: Sheet, number: int = 1, **row: object) -> Revision:
    """A revision as the store gives it back."""
    base = RecordRow(
        uid=f"uid{number}",
        record_uid="uid1",
        route_uid=content.measured.route_uid,
        stop_number=content.measured.stop,
        made_wall_us=MADE_US,
        made_by="A. Sample",
        reason="" if number == 1 else "a slip",
        form=content.form,
        state="draft" if content.missing() else "complete",
        supersedes=None if number == 1 else f"uid{number - 1}",
        fields=content.plain(),
    )
    return Revision(StoredRecord(replace(base, **row), 1, number, 1), content)
