"""`flowlog rig`: check a rig file and show what follows from it; write a new one."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from flowlog.calibrating.inuse import InUse
    from flowlog.planning.expectation import Expectation
    from flowlog.rig.model import Rig

CAUTIONS = (
    "The product's label is the law: its rate, its protective equipment, its weather limits.",
    "Calibrate with clean water only, gloves on; release the pressure before opening a line.",
)


@click.command(name="rig")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--new", is_flag=True, help="Write a commented example to FILE; never overwrites.")
@click.pass_context
def command(ctx: click.Context, file: Path, *, new: bool) -> None:
    """Check the rig file FILE and show what follows from it.

    All faults are told at once, with their lines; the exit code is then 2.
    """
    from flowlog.rig.faults import RigFileError

    try:
        if new:
            from flowlog.rig.template import write_template

            write_template(file)
            click.echo(f"Wrote {file}. Change it to suit your rig, then: flowlog rig {file}")
            return
        _show(file)
    except RigFileError as error:
        # One line a fault, without the program's name before the first, so that an editor can
        # jump to each.
        for line in error.faults:
            click.echo(line, err=True)
        ctx.exit(2)


def _show(file: Path) -> None:
    from flowlog.calibrating.inuse import load
    from flowlog.planning.expectation import expect
    from flowlog.planning.warnings import warnings_for
    from flowlog.rig.folders import resolve_data_folder
    from flowlog.rig.reader import read_rig

    as_filed = read_rig(file)
    in_use = load(resolve_data_folder(as_filed), as_filed)
    rig = in_use.rig
    expected = expect(rig)
    warnings = [*warnings_for(rig, expected), *_open_to_others(file, rig)]
    warnings += [f"{reason}." for reason in in_use.passed_over]
    click.echo(f"{rig.name}: the rig file is in order.")
    sections = _sections(rig, expected, str(resolve_data_folder(rig)))
    if in_use.used:
        sections.append(("Calibrations in use", _calibration_rows(in_use)))
    indent = max(len(name) for _, rows in sections for name, _ in rows) + 2
    for title, rows in sections:
        click.echo(f"\n{title}")
        for name, value in rows:
            click.echo(f"  {name:<{indent}}{value}")
    click.echo("")
    for warning in warnings:
        click.echo(f"WARNING: {warning}")
    if not warnings:
        click.echo("No warnings.")
    click.echo("")
    for caution in CAUTIONS:
        click.echo(f"CAUTION: {caution}")


def _open_to_others(file: Path, rig: Rig) -> list[str]:
    """A password in a file that everybody on the machine can read deserves a word."""
    from flowlog.rig.secrets import holds_password

    if rig.broker is None or not file.stat().st_mode & 0o044:
        return []
    if not holds_password(file.read_text("utf-8-sig")):
        return []
    return [
        f"Other users of this machine can read the broker's password in {file}. "
        f"Do: chmod 600 {file}; or move it to FLOWLOG_BROKER_PASSWORD."
    ]


_Rows = list[tuple[str, str]]


def _calibration_rows(in_use: InUse) -> _Rows:
    from flowlog.calibrating.inuse import result_of
    from flowlog.calibrating.words import day, gist

    units = in_use.rig.units
    return [
        (
            one.row.kind.capitalize(),
            f"{gist(result_of(one.row), units)}; number {one.id}, {day(one.row.made_wall_us)}",
        )
        for one in in_use.used
    ]


def _sections(rig: Rig, expected: Expectation, folder: str) -> list[tuple[str, _Rows]]:
    sections = [
        ("Boom and course", _boom_rows(rig, expected)),
        ("Flow and pressure when all is well", _flow_rows(rig, expected)),
        ("Signals", _signal_rows(rig, expected)),
    ]
    if rig.tank is not None:
        sections.append(("Tank", _tank_rows(rig, expected)))
    sections.append(
        ("Data", [("Folder", folder), ("Board", f"{rig.board.port}, {rig.board.baud}")])
    )
    if rig.broker is not None:
        broker = rig.broker
        where = f"{broker.host}:{broker.port}{' with TLS' if broker.tls else ''}"
        sections[-1][1].append(("Broker", f"{where}, topics under {broker.topic}/1/{rig.slug}/"))
    return sections


def _boom_rows(rig: Rig, expected: Expectation) -> _Rows:
    from flowlog.units import show

    us = rig.units == "us"
    small = "in" if us else "cm"
    area = "1000 ft2" if us else "100 m2"
    return [
        ("Tips", f"{rig.boom.tips} at {show(rig.boom.spacing_m, 'length', unit=small)}"),
        ("Effective width", show(expected.effective_width_m, "length", rig.units)),
        ("Asked rate", show(rig.work.rate_m3_m2, "rate", rig.units)),
        ("Calibrated speed", show(rig.work.speed_m_s, "speed", rig.units)),
        (f"Course for {area}", show(expected.course_length_m, "length", rig.units, decimals=1)),
        ("Time on that course", show(expected.course_s, "time", rig.units)),
        (
            "Water from one tip in that time",
            show(expected.catch_m3, "volume", unit="fl oz" if us else "mL"),
        ),
    ]


def _flow_rows(rig: Rig, expected: Expectation) -> _Rows:
    from flowlog.units import show

    boom, units = rig.boom, rig.units
    low = show(boom.pressure_low_pa, "pressure", units)
    high = show(boom.pressure_high_pa, "pressure", units)
    if expected.outside_band_share:
        side = "above" if expected.outside_band_share > 0 else "below"
        size = show(abs(expected.outside_band_share), "share", decimals=0)
        state = f"{size} {side} the tip's range {low} to {high}"
    else:
        state = f"inside the tip's range {low} to {high}"
    return [
        ("Boom flow", show(expected.boom_flow_m3_s, "flow", units)),
        ("Flow of each tip", show(expected.tip_flow_m3_s, "flow", units, decimals=3)),
        ("Pressure at the tips", f"{show(expected.pressure_pa, 'pressure', units)}, {state}"),
        (f"Rate at {low}, same speed", show(expected.rate_at_low_m3_m2, "rate", units)),
        (f"Rate at {high}, same speed", show(expected.rate_at_high_m3_m2, "rate", units)),
        (
            "One tip blocked",
            f"{show(expected.blocked_tip_share, 'share')} in the boom's conductance",
        ),
    ]


def _signal_rows(rig: Rig, expected: Expectation) -> _Rows:
    from flowlog.units import show

    meter = rig.meter
    low, high = (show(flow, "flow", rig.units) for flow in (meter.lowest_m3_s, meter.highest_m3_s))
    state = "inside" if expected.meter_fits else "OUTSIDE"
    beyond = expected.pressure_pa > rig.gauge.span_pa
    pressure_code = "beyond the gauge's span" if beyond else f"{expected.pressure_code:.0f}"
    rows = [
        (
            "Meter at the boom flow",
            f"{expected.pulses_hz:.1f} pulses/s, {state} its range {low} to {high}",
        ),
        ("Meter at most", f"{expected.highest_pulses_hz:.0f} pulses/s"),
        ("ADC code without pressure", f"{expected.zero_code:.0f} of {1 << rig.gauge.adc_bits}"),
        ("ADC code at the pressure above", pressure_code),
        (
            "ADC code at the gauge's span",
            f"{expected.span_code:.0f} ({show(rig.gauge.span_pa, 'pressure', rig.units)})",
        ),
        ("One ADC code", show(expected.pa_per_code, "pressure", rig.units)),
    ]
    if expected.wheel_hz is not None:
        rows.append(("Wheel at the calibrated speed", f"{expected.wheel_hz:.1f} pulses/s"))
    return rows


def _tank_rows(rig: Rig, expected: Expectation) -> _Rows:
    from flowlog.units import show

    if rig.tank is None or expected.tank_s is None:
        return []
    rows = [
        ("Volume", show(rig.tank.volume_m3, "volume", rig.units)),
        ("A full tank sprays for", show(expected.tank_s, "time", unit="min")),
    ]
    if expected.tank_area_m2 is not None:
        rows.append(("and covers", show(expected.tank_area_m2, "area", rig.units)))
    if expected.tank_low_s is not None:
        low = show(rig.tank.low_m3, "volume", rig.units)
        rows.append((f"Low ({low}) after", show(expected.tank_low_s, "time", unit="min")))
    return rows
