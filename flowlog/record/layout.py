"""What stands on a sheet, in which order: the same for paper, terminal and table."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime

from flowlog.record.checks import keep_until, remarks, write_by
from flowlog.record.fields import FIELDS, SECTIONS, Field, Section
from flowlog.record.forms import NOTICES, Form, form_of
from flowlog.record.history import Revision, changes, past_by
from flowlog.record.sheet import Measured, Sheet, area_text
from flowlog.record.values import Value
from flowlog.review.words import duration, local_time, percent, value
from flowlog.units import show


@dataclass(frozen=True, slots=True)
class Line:
    """A field and its answer."""

    label: str
    text: str
    """Empty: not given."""
    note: str = ""
    wanted: bool = False
    """Whether the set of fields asks for it."""


@dataclass(frozen=True, slots=True)
class Page:
    """A whole sheet in words."""

    title: str
    state: str
    subtitle: str
    missing: tuple[str, ...]
    products: tuple[tuple[Line, ...], ...]
    sections: tuple[tuple[str, tuple[Line, ...]], ...]
    log: tuple[Line, ...]
    alerts: tuple[str, ...]
    remarks: tuple[str, ...]
    notices: tuple[str, ...]
    history: tuple[str, ...]


def page_of(revisions: Sequence[Revision], index: int = -1) -> Page:
    """The page of one revision, the newest by default, with the history of those before it."""
    index %= len(revisions)
    revision = revisions[index]
    sheet, row = revision.sheet, revision.stored.row
    form, measured = form_of(sheet.form), sheet.measured
    made = day_of(revision)
    superseded = index < len(revisions) - 1
    state = "DRAFT" if row.state == "draft" else "No field of its set is empty"
    if superseded:
        state += f", superseded by revision {revisions[-1].stored.revision}"
    return Page(
        title=f"Application record {revision.stored.number}, revision {revision.stored.revision}",
        state=state,
        subtitle=_subtitle(measured),
        missing=tuple(sheet.missing_words()),
        products=tuple(
            tuple(
                _line(entry, product.get(entry.key), form)
                for entry in FIELDS
                if entry.section == "product"
            )
            for product in sheet.products
        ),
        sections=tuple(
            (title, _section(sheet, section, form))
            for section, title in SECTIONS.items()
            if section != "product"
        ),
        log=tuple(_log(measured)),
        alerts=tuple(_alerts(measured)),
        remarks=tuple(remarks(sheet, made, day_of(revisions[0]))),
        notices=(*_keeping(sheet, form), *NOTICES),
        history=tuple(history_lines(revisions[: index + 1])),
    )


def history_lines(revisions: Sequence[Revision]) -> list[str]:
    """One sentence a revision, oldest first."""
    lines = []
    for index, revision in enumerate(revisions):
        row = revision.stored.row
        when = local_time(row.made_wall_us, with_date=True, second=False)
        line = f"Revision {revision.stored.revision}, {when}, by {row.made_by}: {row.state}."
        if index:
            what = "; ".join(changes(revisions[index - 1].sheet, revision.sheet)) or "no change"
            line += f" {row.reason + '. ' if row.reason else ''}{what}."
        past = past_by(revisions, index)
        lines.append(line + (f" It was {past}." if past else ""))
    return lines


def day_of(revision: Revision) -> date:
    """The local day on which a revision was made."""
    return datetime.fromtimestamp(revision.stored.row.made_wall_us / 1e6, UTC).astimezone().date()


def _subtitle(measured: Measured) -> str:
    route = f"route {measured.route}" + (f" '{measured.route_name}'" if measured.route_name else "")
    if measured.stop is None:
        return f"{measured.rig}, {route}, all stops: {', '.join(measured.stops)}"
    stop = f"stop {measured.stop}" + (f" '{measured.stop_name}'" if measured.stop_name else "")
    return f"{measured.rig}, {route}, {stop}"


def _section(sheet: Sheet, section: Section, form: Form) -> tuple[Line, ...]:
    entries = [entry for entry in FIELDS if entry.section == section]
    lines = [_line(entry, sheet.value(entry.key), form) for entry in entries]
    if section == "when":
        lines += _utc(sheet.measured)
    # What is neither asked for nor said only takes space.
    return tuple(line for line in lines if line.text or line.wanted)


def _line(entry: Field, found: Value | None, form: Form) -> Line:
    wanted = entry.key in form.fields
    if found is None:
        return Line(entry.label, "", "", wanted)
    note = "by the log" if found.source == "measured" else ""
    return Line(entry.label, found.text, note, wanted)


def _utc(measured: Measured) -> list[Line]:
    if measured.clock == "none" or not measured.begin_utc or not measured.end_utc:
        return [Line("Clock", measured.clock_sentence)]
    zone = measured.begin_local[23:] if measured.begin_local else ""
    local = f"Local time is UTC{zone}. " if zone else ""
    span = f"{measured.begin_utc[:10]} {measured.begin_utc[11:19]} to {measured.end_utc[11:19]}"
    return [Line("In UTC, by the log", span, f"{local}{measured.clock_sentence}")]


def _log(measured: Measured) -> list[Line]:
    units = measured.units
    lines = [
        Line(
            "Spraying",
            duration(measured.spraying_s),
            f"within {duration(measured.elapsed_s)}",
        ),
        Line("Tank mix", value(measured.volume_m3, "volume", units), _sure(measured.volume_share)),
        Line(
            "Area",
            "--" if measured.area_m2 is None else area_text(measured.area_m2, units),
            _sure(measured.area_share),
        ),
        Line("Mean rate", value(measured.rate_m3_m2, "rate", units), _sure(measured.rate_share)),
    ]
    if measured.asked_rate_m3_m2 is not None:
        within = measured.within_10_share
        lines.append(
            Line(
                "Rate asked for",
                value(measured.asked_rate_m3_m2, "rate", units),
                "" if within is None else f"+-10 % held {percent(within)} of the time",
            )
        )
    if measured.pressure_pa is not None:
        lines.append(Line("Mean pressure", value(measured.pressure_pa, "pressure", units)))
    if measured.speed_m_s is not None:
        known = "measured by the wheel" if measured.speed_measured else "taken, not measured"
        lines.append(Line("Speed", value(measured.speed_m_s, "speed", units), known))
    lines.append(Line("Effective width", show(measured.effective_width_m, "length", units)))
    return lines


def _sure(share: float | None) -> str:
    return "" if share is None else f"+-{100 * share:.2g} % (95 %)"


def _alerts(measured: Measured) -> list[str]:
    lines = []
    for alert in measured.alerts:
        when = f"{alert.since_local[11:16]} " if alert.since_local else ""
        still = " (not cleared)" if alert.open else ""
        lines.append(f"{when if measured.clock != 'none' else ''}{alert.text}{still}")
    return lines


def _keeping(sheet: Sheet, form: Form) -> list[str]:
    until, by = keep_until(sheet), write_by(sheet)
    keep = f"Keep {form.keep_because}" + (f": until {until} at least." if until else ".")
    written = f" Write it by {by}." if by else ""
    return [f"Set of fields: {form.title}. {keep}{written}", f"Source of the set: {form.source}."]
