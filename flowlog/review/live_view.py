"""The live screen: a pure function from what is known to lines of text.

What it must answer at arm's length, in this order: must I stop, and why? Is the rate right? Is
the picture live at all? Then pressure in its band, tank, sums. So an open alert takes the top,
the rate is the largest thing, and the age of the data is always there. Every state is said in a
word; colour only repeats it.
"""

from __future__ import annotations

import math
import textwrap
from dataclasses import dataclass, replace
from typing import Final

from rich.text import Text

from flowlog.review import words
from flowlog.review.digits import ROWS, large
from flowlog.review.live_state import (
    LiveAlert,
    LiveState,
    Totals,
    pressure_verdict,
    rate_verdict,
)
from flowlog.units import Units, display_unit, number_in, show

_GOOD: Final = "bold green"
_OFF: Final = "bold reverse yellow"
_BAD: Final = "bold reverse red"
# Reverse video stays where colours are off.
_QUIET: Final = "dim"

_SIZES: Final = ((4, 2), (3, 2), (2, 1), (1, 1))
"""Columns and lines that a dot of the large figures may take, largest first."""

_PHASES: Final = {
    "off": "BOOM SHUT",
    "settling": "OPENING",
    "spraying": "SPRAYING",
    "draining": "DRAINING",
}


@dataclass(frozen=True, slots=True)
class Marks:
    """What is drawn with; plain ASCII where a terminal knows no more."""

    dot: str
    rule: str
    scale: str
    here: str


BLOCKS: Final = Marks(dot="█", rule="─", scale="─", here="●")
ASCII: Final = Marks(dot="#", rule="-", scale="-", here="O")


def screen(state: LiveState, width: int, height: int, marks: Marks = BLOCKS) -> list[Text]:
    """Draw the state.

    Args:
        state: what is known.
        width: columns of the terminal.
        height: its rows.
        marks: what is drawn with.

    Returns:
        At most `height` lines, none wider than `width`. Where room is short, sums go first, then
        details; the alert, the rate and the age of the data stay.
    """
    width, height = max(width, 1), max(height, 1)
    state = _measured(state)
    rule = Text(marks.rule * width, style=_QUIET)
    parts: list[tuple[int, list[Text]]] = []
    """Lines with their worth: the lowest go first where the screen is too low."""
    parts.append((95, [_head(state, width)]))
    if state.alerts:
        parts.extend(_alert(state.alerts, width))
    else:
        parts.append((94, [rule]))
    place = len(parts)
    parts.append((30, [rule]))
    parts += [(70, [line]) for line in _details(state, width, marks)]
    parts.append((20, [rule]))
    parts += [(worth, [_sums(state, totals)]) for worth, totals in _shown_sums(state)]
    if state.noted:
        parts.append((15, [Text(f" noted: {state.noted}", style=_QUIET)]))
    spare = height - sum(len(lines) for _, lines in parts)
    parts.insert(place, (90, _rate(state, width, marks, max(spare, min(ROWS, height - 5)))))
    while sum(len(lines) for _, lines in parts) > height and len(parts) > 1:
        parts.remove(min(reversed(parts), key=lambda part: part[0]))
    shown = [line for _, lines in parts for line in lines][:height]
    for line in shown:
        line.truncate(width, overflow="ellipsis" if marks is BLOCKS else "crop")
    return shown


def plain_line(state: LiveState) -> str:
    """The state in one line without colour, for a log or a pipe."""
    state = _measured(state)
    said = [state.clock, state.freshness, words.age(state.age_s)]
    reading = state.reading
    units = state.rig.units
    if reading is not None:
        said.append(_PHASES[reading.phase])
        if reading.rate_m3_m2 is not None:
            share = reading.rate_m3_m2 / state.rig.work.rate_m3_m2
            said.append(
                f"rate {words.value(reading.rate_m3_m2, 'rate', units)} "
                f"({words.percent(share - 1, signed=True)}, {rate_verdict(share).lower()})"
            )
        if reading.flow_m3_s is not None:
            said.append(f"flow {words.value(reading.flow_m3_s, 'flow', units)}")
        if reading.pressure_pa is not None:
            pressure = f"pressure {words.value(reading.pressure_pa, 'pressure', units)}"
            if _is_settled(state):
                pressure += f" ({pressure_verdict(reading.pressure_pa, state.rig).lower()})"
            said.append(pressure)
        if reading.tank_m3 is not None:
            said.append(f"tank {words.value(reading.tank_m3, 'volume', units)}")
    elif state.advice:
        said.append(state.advice)
    said += [
        f"{totals.label.lower()} {words.value(totals.area_m2, 'area', units)}"
        for totals in (state.stop, state.route)
        if totals is not None
    ]
    said += [f"ALERT {alert.title}: {alert.text}" for alert in state.alerts]
    return " | ".join(said)


def _between(left: Text, right: Text, width: int) -> Text:
    """Left and right on one line; the right stays whole where room is short."""
    room = width - right.cell_len - 1
    if room < left.cell_len:
        left = left.copy()
        left.truncate(max(room, 0), overflow="crop")
    return left + Text(" " * max(1, width - left.cell_len - right.cell_len)) + right


def _head(state: LiveState, width: int) -> Text:
    style = {"LIVE": _GOOD, "LATE": _OFF, "NO DATA": _BAD}[state.freshness]
    phase = _PHASES[state.reading.phase] if state.reading is not None else ""
    left = Text(f" {phase}  " if phase else " ", style="bold")
    left.append(words.clean(state.rig.name), style="default")
    if state.stop is not None and state.stop.name:
        left.append(f", {words.clean(state.stop.name)}", style="default")
    right = Text(f" {state.freshness} ", style=style)
    right.append(f" {words.age(state.age_s)}", style="bold")
    if width >= 60:
        right.append(f"  {state.clock}")
    return _between(left, right, width)


def _alert(alerts: tuple[LiveAlert, ...], width: int) -> list[tuple[int, list[Text]]]:
    alert = alerts[0]
    style = _BAD if alert.urgency == "stop" else _OFF
    call = "STOP" if alert.urgency == "stop" else "LOOK"
    title = _between(
        Text(f" {call}: {alert.title.upper()}"),
        Text(f"began {words.ago(alert.since_s)} "),
        width,
    )
    title.stylize(style)
    parts = [(99, [title])]
    text = textwrap.wrap(alert.text, max(width - 2, 8))
    parts += [(96, [Text(f" {line}", style="bold")]) for line in text[:3]]
    if alert.sure:
        parts.append((60, [Text(f" {alert.sure}")]))
    for number, check in enumerate(alert.checks[:2]):
        lead = " First: " if number == 0 else " Then:  "
        lines = textwrap.wrap(
            check, max(width - 1, 16), initial_indent=lead, subsequent_indent=" " * len(lead)
        )
        worth = 93 if number == 0 else 40
        parts += [(worth, [Text(line)]) for line in lines[:2]]
    for other in alerts[1:3]:
        line = f" also: {other.title}, began {words.ago(other.since_s)}"
        parts.append((65, [Text(line, style="bold")]))
    if len(alerts) > 3:
        parts.append((64, [Text(f" and {len(alerts) - 3} more")]))
    return parts


def _rate(state: LiveState, width: int, marks: Marks, room: int) -> list[Text]:
    """The rate in the largest figures that `room` lines hold, and beside it what it means."""
    reading, rig = state.reading, state.rig
    rate = None if reading is None else reading.rate_m3_m2
    unit = display_unit("rate", rig.units)
    figures = "--" if rate is None else _figures(rate, rig.units)
    asked = words.figure(rig.work.rate_m3_m2, "rate", rig.units)
    for across, high in _SIZES:
        rows = large(figures, dot=marks.dot * across, high=high)
        left = width - len(rows[0]) - 5
        beside = [(unit, ""), (f"asked {asked}", ""), ("", ""), *_meaning(state)]
        if left >= max(16, *(len(line) for line, _ in beside[:-1])) and len(rows) <= room:
            break
    else:
        # Too narrow or too low for large figures: one plain line.
        line = Text(f" RATE {figures} {unit}  ", style="bold")
        word, style = _meaning(state)[0]
        line.append(f" {word.strip()} ", style=style)
        return [line]
    # Only the last line beside it, advice, may be longer than there is room.
    beside[-1:] = [(part, beside[-1][1]) for part in textwrap.wrap(beside[-1][0], left) or [""]]
    above = max(0, (len(rows) - len(beside)) // 2) if len(rows) > ROWS else 0
    lines = []
    for row, drawn in enumerate(rows):
        line = Text("  ")
        line.append(drawn, style="bold")
        line.append("   ")
        if 0 <= row - above < len(beside):
            word, style = beside[row - above]
            line.append(word, style=style)
        lines.append(line)
    return lines


def _figures(rate_m3_m2: float, units: Units) -> str:
    number = number_in(rate_m3_m2, "rate", display_unit("rate", units))
    if not abs(number) < 10_000:
        return "----"
    decimals = 2 if abs(number) < 10 else 1 if abs(number) < 100 else 0
    return f"{number + 0.0:.{decimals}f}"


def _meaning(state: LiveState) -> list[tuple[str, str]]:
    """What the rate means: a word and a number, with their styles."""
    reading = state.reading
    if reading is None:
        return [(" NO DATA ", _BAD), (state.advice, "")]
    if reading.rate_m3_m2 is None:
        if reading.phase == "off":
            return [("BOOM SHUT", "bold"), ("no rate", "")]
        if reading.phase == "spraying":
            return [(" NOT MEASURED ", _OFF), ("the flow sensor says nothing", "")]
        return [(_PHASES[reading.phase], "bold"), ("no rate", "")]
    share = reading.rate_m3_m2 / state.rig.work.rate_m3_m2
    verdict = rate_verdict(share)
    style = _GOOD if verdict == "ON RATE" else _OFF if "LITTLE" in verdict else _BAD
    off = f"{words.percent(share - 1, signed=True)} off asked"
    speed = "speed assumed" if state.rig.wheel is None else "speed measured"
    if verdict == "ON RATE" and any(alert.urgency == "stop" for alert in state.alerts):
        # The mean of the boom may be right while one strip stays bare: no green beside a STOP.
        return [("on rate overall", ""), (off, ""), (speed, "")]
    return [(f" {verdict} ", style), (f" {off}", "bold"), (f" {speed}", "")]


def _details(state: LiveState, width: int, marks: Marks) -> list[Text]:
    rig, reading = state.rig, state.reading
    lines = []

    flow_m3_s = None if reading is None else reading.flow_m3_s
    flow = Text(" FLOW      ", style="bold")
    flow.append(f"{words.value(flow_m3_s, 'flow', rig.units):<15}", style="bold")
    flow.append(f"expected {words.value(rig.expected_flow_m3_s, 'flow', rig.units)}")
    lines.append(flow)

    pressure_pa = None if reading is None else reading.pressure_pa
    pressure = Text(" PRESSURE  ", style="bold")
    pressure.append(f"{words.value(pressure_pa, 'pressure', rig.units):<15}", style="bold")
    if pressure_pa is not None and _is_settled(state):
        verdict = pressure_verdict(pressure_pa, rig)
        pressure.append(f"{verdict:<11}", style="" if verdict == "in band" else _OFF)
    else:
        pressure.append(" " * 11)
    pressure.append(_band(pressure_pa, state, min(width - 55, 30), marks))
    lines.append(pressure)

    boom = Text(" BOOM      ", style="bold")
    share = None if reading is None else reading.conductance_share
    boom.append(
        f"passes {words.percent(share)} of healthy" if share is not None else "not judged now"
    )
    lines.append(boom)

    if rig.tank is not None:
        lines.append(_tank(state))
    return lines


def _is_settled(state: LiveState) -> bool:
    """Only then does the pressure have to be in its band."""
    return state.reading is not None and state.reading.phase == "spraying"


def _measured(state: LiveState) -> LiveState:
    """With what is no finite number taken for what it is: not measured."""
    reading = state.reading
    if reading is None:
        return state
    reading = replace(
        reading,
        flow_m3_s=_finite(reading.flow_m3_s),
        pressure_pa=_finite(reading.pressure_pa),
        rate_m3_m2=_finite(reading.rate_m3_m2),
        conductance_share=_finite(reading.conductance_share),
        tank_m3=_finite(reading.tank_m3),
    )
    return replace(state, reading=reading)


def _finite(value: float | None) -> float | None:
    return value if value is not None and math.isfinite(value) else None


def _tank(state: LiveState) -> Text:
    rig, reading = state.rig, state.reading
    assert rig.tank is not None
    left = None if reading is None else reading.tank_m3
    tank = Text(" TANK      ", style="bold")
    tank.append(f"{words.value(left, 'volume', rig.units):<15}", style="bold")
    if left is None:
        return tank
    if left <= rig.tank.low_m3:
        tank.append(" LOW ", style=_OFF)
        tank.append(" ")
    reach = max(left, 0.0) / rig.work.rate_m3_m2
    tank.append(
        f"of {words.value(rig.tank.volume_m3, 'volume', rig.units)}, "
        f"for {words.value(reach, 'area', rig.units)} at the asked rate"
    )
    return tank


def _band(pressure_pa: float | None, state: LiveState, room: int, marks: Marks) -> str:
    """Where the pressure lies between the tips' lowest and highest."""
    boom, units = state.rig.boom, state.rig.units
    low, high = boom.pressure_low_pa, boom.pressure_high_pa
    decimals = 0 if units == "us" else 1
    ends = [show(value, "pressure", units, decimals=decimals).split()[0] for value in (low, high)]
    if room < 8:
        return f"{ends[0]} to {ends[1]}"
    scale = list(marks.scale * room)
    before, behind = "|", "|"
    if pressure_pa is not None:
        place = (pressure_pa - low) / (high - low)
        if place < 0:
            before = "<"
        elif place > 1:
            behind = ">"
        else:
            scale[round(place * (room - 1))] = marks.here
    return f"{ends[0]} {before}{''.join(scale)}{behind} {ends[1]}"


def _shown_sums(state: LiveState) -> list[tuple[int, Totals]]:
    return [
        (worth, totals)
        for worth, totals in ((50, state.stop), (45, state.route))
        if totals is not None
    ]


def _sums(state: LiveState, totals: Totals) -> Text:
    units = state.rig.units
    line = Text(f" {totals.label:<10}", style="bold")
    line.append(f"{words.value(totals.area_m2, 'area', units):<15}")
    line.append(f"{words.value(totals.volume_m3, 'volume', units):<13}")
    line.append(f"mean {words.figure(totals.rate_m3_m2, 'rate', units):<8}")
    line.append(f"sprayed {words.duration(totals.spraying_s)}")
    return line
