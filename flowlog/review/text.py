"""The review in words and tables, for a terminal 80 columns wide and for a printer."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from rich import box
from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from flowlog.monitor.codes import CODES
from flowlog.monitor.summary import Alert, Figures, Stop
from flowlog.review import words
from flowlog.review.corrections_text import correction_lines
from flowlog.review.live_state import pressure_verdict, rate_verdict, sure_words
from flowlog.review.route import CLOCK_SENTENCES, RAW_GONE, RouteReview
from flowlog.rig.model import Rig
from flowlog.store.rows import EventRow
from flowlog.units import display_unit


def route_list(rig: Rig, reviews: Iterable[RouteReview]) -> RenderableType:
    """All routes of a rig, one a line."""
    units = rig.units
    table = _table(
        "route",
        "=began",
        ">sprayed\nh:mm:ss",
        f">area\n{display_unit('area', units)}",
        f">volume\n{display_unit('volume', units)}",
        f">rate\n{_narrow(display_unit('rate', units))}",
        ">stops",
        ">alerts",
        "name",
    )
    count = 0
    for review in reviews:
        count += 1
        figures = review.summary.figures
        began = words.local_time(review.route.began_wall_us, with_date=True, second=False)
        doubt = "?" if review.clock == "none" and "?" not in began else ""
        table.add_row(
            f"{review.number}",
            began + doubt,
            words.clock_style(figures.spraying_s),
            words.figure(figures.area_m2, "area", units),
            words.figure(figures.volume_m3, "volume", units),
            words.figure(figures.rate_m3_m2, "rate", units),
            f"{len(review.summary.stops)}",
            f"{len(_real(review.summary.alerts))}",
            ("" if review.ended else "(open) ") + words.clean(review.route.name or ""),
        )
    title = Text(f"{words.clean(rig.name)}: {count} route{'' if count == 1 else 's'}", style="bold")
    return Group(title, table if count else Text("Nothing was recorded yet."))


def route_view(review: RouteReview) -> RenderableType:
    """One route: its sums, its stops, its alerts, and how sure all that is."""
    summary, rig, units = review.summary, review.rig, review.rig.units
    parts: list[RenderableType] = [_title(review), Text("")]
    parts += [*_sums(review), Text("")]
    if summary.stops:
        parts += [_stops(summary.stops, rig), Text("")]
    else:
        parts += [Text("Nothing was sprayed."), Text("")]
    parts += _alerts(review)
    parts += [Text(""), Text("How sure this is", style="bold")]
    parts += [_indented(line) for line in _sure(review)]
    if summary.volume_outside_m3 > 1e-6:
        outside = words.value(summary.volume_outside_m3, "volume", units)
        parts.append(
            _indented(
                f"{outside} went through the meter outside of the stops: flushing, or a leak."
            )
        )
    for mark in summary.unused_marks:
        name = f" '{words.clean(mark.name)}'" if mark.name else ""
        parts.append(_indented(f"The mark {mark.kind}{name} has no spraying that belongs to it."))
    return Group(*parts)


def sums_view(review: RouteReview) -> RenderableType:
    """The sums of a route and how sure they are, without its times of day."""
    sure = [_indented(line) for line in _accuracies(review)]
    return Group(*_sums(review), Text(""), Text("How sure this is", style="bold"), *sure)


def _title(review: RouteReview) -> Text:
    route = review.route
    name = f" '{words.clean(route.name)}'" if route.name else ""
    title = Text(f"Route {review.number}{name}, {words.clean(review.rig.name)}", style="bold")
    begin = words.local_time(review.summary.begin_wall_us, with_date=True)
    end = words.local_time(review.summary.end_wall_us)
    state = "" if review.ended else ", still open"
    title.append(f"\n{begin} to {end}{state}; id {route.uid}", style="default")
    return title


def _sums(review: RouteReview) -> list[Text]:
    figures, rig, units = review.summary.figures, review.rig, review.rig.units
    lines = [
        f"Sprayed    {words.duration(figures.spraying_s)} in {words.duration(figures.elapsed_s)}",
        f"Area       {words.value(figures.area_m2, 'area', units)}",
        f"Volume     {words.value(figures.volume_m3, 'volume', units)}",
    ]
    if figures.rate_m3_m2 is not None:
        lines += _rate_lines(figures, review)
    if figures.pressure_pa is not None:
        lines.append(
            f"Pressure   {_pressure(figures, rig)} "
            f"(tips: {_band(rig)}, mean {pressure_verdict(figures.pressure_pa, rig)})"
        )
    if figures.flow_m3_s is not None:
        expected = words.value(rig.expected_flow_m3_s, "flow", units)
        lines.append(
            f"Flow       {words.value(figures.flow_m3_s, 'flow', units)} mean, {expected} expected"
        )
    if figures.tank_m3 is not None:
        lines.append(f"Tank       {words.value(figures.tank_m3, 'volume', units)} left at the end")
    return [Text(line) for line in lines]


def _rate_lines(figures: Figures, review: RouteReview) -> list[str]:
    rig, units = review.rig, review.rig.units
    assert figures.rate_m3_m2 is not None
    share = figures.rate_m3_m2 / rig.work.rate_m3_m2
    asked = words.value(rig.work.rate_m3_m2, "rate", units)
    rate = words.value(figures.rate_m3_m2, "rate", units)
    accuracy = review.summary.accuracy
    sure = "" if accuracy is None else f" +-{words.percent(accuracy.expanded)}"
    off = words.percent(share - 1, signed=True)
    lines = [f"Mean rate  {rate}{sure}; asked {asked}: {off}, {rate_verdict(share).lower()}"]
    if figures.within_5_share is not None and figures.within_10_share is not None:
        lines.append(
            f"           within 5 % for {words.percent(figures.within_5_share)} and within 10 % "
            f"for {words.percent(figures.within_10_share)} of the settled spraying"
        )
    return lines


def _pressure(figures: Figures, rig: Rig) -> str:
    low = words.figure(figures.pressure_p5_pa, "pressure", rig.units)
    high = words.value(figures.pressure_p95_pa, "pressure", rig.units)
    return f"{low} to {high}"


def _band(rig: Rig) -> str:
    low = words.figure(rig.boom.pressure_low_pa, "pressure", rig.units)
    return f"{low} to {words.figure(rig.boom.pressure_high_pa, 'pressure', rig.units)}"


def _stops(stops: Sequence[Stop], rig: Rig) -> Table:
    units = rig.units
    table = _table(
        "stop",
        "=began",
        ">sprayed\nh:mm:ss",
        f">area\n{display_unit('area', units)}",
        f">volume\n{display_unit('volume', units)}",
        f">rate\n{_narrow(display_unit('rate', units))}",
        ">in 5 %\nof time",
        f">pressure\n{display_unit('pressure', units)}",
        ">alerts",
    )
    for stop in stops:
        figures = stop.figures
        name = f"{stop.number}" + (f" {words.clean(stop.name)}" if stop.name else "")
        low = words.figure(figures.pressure_p5_pa, "pressure", units)
        high = words.figure(figures.pressure_p95_pa, "pressure", units)
        share = figures.within_5_share
        table.add_row(
            name,
            words.local_time(stop.begin_wall_us, second=False),
            words.clock_style(figures.spraying_s),
            words.figure(figures.area_m2, "area", units),
            words.figure(figures.volume_m3, "volume", units),
            words.figure(figures.rate_m3_m2, "rate", units),
            "--" if share is None else words.percent(share),
            f"{low}-{high}",
            f"{len(_real(stop.alerts)) or ''}",
        )
    return table


def _alerts(review: RouteReview) -> list[RenderableType]:
    alerts = _real(review.summary.alerts)
    noted = len(review.summary.alerts) - len(alerts)
    lines: list[RenderableType] = [Text("Alerts", style="bold")]
    if not alerts:
        lines.append(Text("  none"))
    first = {row.event.alert: row for row in reversed(review.events)}
    for number, alert in enumerate(alerts, 1):
        lines += _alert(number, alert, first[alert.alert], review)
    if alerts:
        how = f"flowlog explain NUMBER --route {review.number}"
        lines.append(_indented(f"What one of them rests on: {how}"))
    if noted:
        lines.append(Text(f"  and {noted} thing{'' if noted == 1 else 's'} noted: see --json"))
    return lines


def _alert(number: int, alert: Alert, row: EventRow, review: RouteReview) -> list[RenderableType]:
    since = words.local_time(row.since_wall_us)
    said = words.local_time(row.wall_us)
    cleared = next(
        (
            words.local_time(later.wall_us)
            for later in review.events
            if later.event.alert == alert.alert and later.event.change == "cleared"
        ),
        None,
    )
    end = f"cleared {cleared}" if cleared else "never cleared"
    where = next(
        (stop.number for stop in review.summary.stops if alert in stop.alerts),
        None,
    )
    place = f", stop {where}" if where else ""
    code = CODES.get(alert.code)
    title = code.title if code else alert.code.replace("_", " ").capitalize()
    lines: list[RenderableType] = [
        _indented(f"{number}. {title}{place}: began about {since}, said {said}, {end}"),
        _indented(words.clean(alert.worst_text), 4),
    ]
    if alert.worst_text != alert.text:
        lines.append(_indented(f"At last: {words.clean(alert.text)}", 4))
    if (sure := sure_words(alert)) and "(" not in alert.text:
        lines.append(_indented(sure, 4))
    return lines


def _accuracies(review: RouteReview) -> list[str]:
    figures = review.summary.figures
    lines = []
    if review.summary.accuracy is not None:
        lines.append(f"Mean {review.summary.accuracy.sentence()}.")
        both = (review.known(figures, "volume"), review.known(figures, "area"))
        lines += [f"{known.sentence().capitalize()}." for known in both if known is not None]
    sent = figures.samples + figures.lost
    if figures.lost or figures.gaps:
        share = figures.lost / sent if sent else 0.0
        lines.append(
            f"{figures.lost} of {sent} samples were lost ({100 * share:.2f} %), {figures.gaps} "
            f"gap{'' if figures.gaps == 1 else 's'} of {words.duration(figures.gap_s)} together; "
            "volume is right all the same, since the board counts on."
        )
    elif sent:
        lines.append(f"All {sent} samples arrived.")
    return lines


def _sure(review: RouteReview) -> list[str]:
    lines = _accuracies(review)
    if _real(review.summary.alerts):
        lines.append("A size's range in brackets holds it with a probability of 95 %.")
    lines.append(CLOCK_SENTENCES[review.clock])
    if review.raw_gone:
        lines.append(RAW_GONE)
    lines += _corrected(review)
    if review.calibrations:
        how = "Derived" if review.derived else "Watched"
        lines.append(f"{how} with these calibrations:")
        lines += [f"- {words.clean(line)}" for line in review.calibrations]
    return lines


def _corrected(review: RouteReview) -> list[str]:
    lines = []
    if review.derived:
        lines.append("Readings and alerts were derived anew; what was logged stays in the store.")
    if review.underived:
        lines.append(
            f"Other calibrations were chosen, but what was logged is shown: {review.underived}."
        )
    if any(stop.counted_area_m2 is not None for stop in review.summary.stops):
        lines.append("Areas that a person gave are taken as they were given.")
    told = [line.strip() for line in correction_lines(review)]
    return [*lines, "Corrected afterwards:", *told] if told else lines


def _indented(text: str, columns: int = 2) -> Padding:
    """A paragraph that keeps its indent where it wraps."""
    return Padding(Text(text), (0, 0, 0, columns), expand=False)


def _real(alerts: Iterable[Alert]) -> list[Alert]:
    return [alert for alert in alerts if not alert.noted]


def _narrow(unit: str) -> str:
    """A unit over two lines, for the head of a narrow column."""
    return unit.replace("/", "/\n")


def _table(*heads: str) -> Table:
    """Heads that begin with > stand at the right, those with = at the left; both never wrap."""
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, padding=0, show_edge=False)
    for head in heads:
        if head.startswith(">"):
            table.add_column(head[1:], justify="right", no_wrap=True)
        else:
            table.add_column(head.lstrip("="), overflow="fold", no_wrap=head.startswith("="))
    return table
