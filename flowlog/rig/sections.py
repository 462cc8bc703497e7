"""Each table of the rig file: its keys, their limits, and what must fit together.

The limits are wide: they catch slips of the pen (a missing point, a wrong unit), not unusual
rigs. Limits: common practice of small boom sprayers, no source.
"""

from __future__ import annotations

import ipaddress
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final, cast

from flowlog.rig.faults import one_line
from flowlog.rig.model import (
    Board,
    Boom,
    Broker,
    Gauge,
    GaugePlace,
    Meter,
    Page,
    Tank,
    Thresholds,
    Tip,
    Units,
    Wheel,
    Work,
)
from flowlog.rig.table import Table

_FLOW: Final = ("0.001 gal/min", "200 gal/min")
_PRESSURE: Final = ("1 psi", "500 psi")
_PULSES: Final = ("1 pulse/L", "100000 pulse/L")
_TIP_EXAMPLE: Final = 'tip = "0.8 gal/min at 40 psi"'
_CURVE_EXAMPLE: Final = 'curve = [["2 L/min", "440 pulse/L"], ["20 L/min", "452 pulse/L"]]'


def read_general(table: Table) -> tuple[str, Units, str | None]:
    """Name, units for display, and data folder."""
    name = table.text("name", example='name = "North cart"', default=None, longest=64)
    if name and not any(c.isascii() and c.isalnum() for c in name):
        table.fault("name", f"'{one_line(name)}' has no letter a-z and no digit (topics need one)")
    units = table.choice("units", ("us", "metric"), default="us")
    folder = table.text("data_folder", example='data_folder = "/srv/flowlog/north"', longest=1000)
    if folder and not folder.startswith(("/", "~")):
        table.fault(
            "data_folder",
            f"'{one_line(folder)}' does not say from where (begin the path with / or ~)",
        )
    table.end()
    return name, cast("Units", units), folder or None


def read_boom(table: Table) -> Boom:
    low, high = _PRESSURE
    tips = table.whole("tips", 1, 60, example="tips = 8")
    spacing = table.quantity("spacing", "length", "2 in", "80 in", example='spacing = "20 in"')
    tip = _read_tip(table)
    lowest, highest = table.pair(
        "pressure", "pressure", low, high, example='pressure = ["25 psi", "50 psi"]'
    )
    table.end()
    return Boom(tips, spacing, tip, lowest, highest)


def _read_tip(table: Table) -> Tip:
    nan = float("nan")
    text = table.text("tip", example=_TIP_EXAMPLE, default=None)
    if not text:
        return Tip(nan, nan)
    parts = re.split(r"\s+at\s+|\s*@\s*", text.strip(), flags=re.IGNORECASE)
    if len(parts) != 2:
        table.fault(
            "tip",
            f"'{one_line(text)}' does not say a flow at a pressure "
            f"(write for instance {_TIP_EXAMPLE})",
        )
        return Tip(nan, nan)
    flow = table.measure("tip", parts[0], "flow", "0.001 gal/min", "20 gal/min", example="")
    pressure = table.measure("tip", parts[1], "pressure", *_PRESSURE, example="")
    return Tip(flow, pressure)


def read_work(table: Table) -> Work:
    rate = table.quantity(
        "rate",
        "rate",
        "0.01 gal/1000 ft2",
        "50 gal/1000 ft2",
        example='rate = "1.5 gal/1000 ft2"',
    )
    speed = table.quantity("speed", "speed", "0.2 mph", "20 mph", example='speed = "3.2 mph"')
    carrier = table.quantity(
        "carrier", "relative_density", "0.5", "2.5", example="carrier = 1.0", default=1.0
    )
    table.end()
    return Work(rate, speed, carrier)


def read_tank(table: Table) -> Tank:
    volume = table.quantity("volume", "volume", "0.5 gal", "5000 gal", example='volume = "60 gal"')
    low = table.quantity(
        "low", "volume", "0 gal", "5000 gal", example='low = "8 gal"', default=volume / 8
    )
    if low >= volume:
        table.fault("low", "is not less than the tank's volume (write what is left when it is low)")
    table.end()
    return Tank(volume, low)


def read_meter(table: Table) -> Meter:
    lowest, highest = table.pair("range", "flow", *_FLOW, example='range = ["2 L/min", "30 L/min"]')
    curve = _read_curve(table)
    example = 'pulses = "450 pulse/L"'
    if curve is None:
        pulses = table.quantity("pulses", "pulses_per_volume", *_PULSES, example=example)
    else:
        pulses = sum(point[1] for point in curve) / len(curve) if curve else float("nan")
        if table.raw("pulses") is not None:
            table.fault("pulses", "stands beside a curve (keep only one of the two)")
    table.end()
    return Meter(pulses, lowest, highest, tuple(curve or ()))


def _read_curve(table: Table) -> list[tuple[float, float]] | None:
    """The points in the order of the file; None without a curve, empty if it is no curve."""
    value: Any = table.raw("curve")
    if value is None:
        return None
    if not isinstance(value, list) or not all(
        isinstance(point, list) and len(point) == 2 for point in value
    ):
        table.fault(
            "curve", f"must be pairs of flow and pulses (write for instance {_CURVE_EXAMPLE})"
        )
        return []
    if len(value) < 2:
        table.fault(
            "curve",
            f"has {len(value)} point(s); a curve has two or more "
            '(for a constant write pulses = "450 pulse/L")',
        )
        return []
    points = [
        (
            table.measure(
                "curve", flow, "flow", *_FLOW, example='["2 L/min", "440 pulse/L"]', at=i
            ),
            table.measure(
                "curve",
                pulses,
                "pulses_per_volume",
                *_PULSES,
                example='["2 L/min", "440 pulse/L"]',
                at=i,
            ),
        )
        for i, (flow, pulses) in enumerate(value)
    ]
    for i in range(1, len(points)):
        flow = one_line(str(value[i][0]))
        if points[i][0] == points[i - 1][0]:
            table.fault("curve", f"the flow '{flow}' comes twice (keep one point a flow)", i)
        elif points[i][0] < points[i - 1][0]:
            table.fault("curve", f"the flow '{flow}' is less than the one before (sort by flow)", i)
    return points


def read_gauge(table: Table) -> Gauge:
    span = table.quantity("span", "pressure", "5 psi", "1500 psi", example='span = "100 psi"')
    bits = table.whole("adc_bits", 8, 24, example="adc_bits = 10", default=10)
    codes = [key for key in ("zero", "full") if isinstance(table.raw(key), int)]
    if len(codes) == 2:
        zero = _code_share(table, "zero", 102, bits)
        full = _code_share(table, "full", 922, bits)
        if table.raw("supply") is not None:
            table.fault("supply", "stands beside ADC codes (keep it only with zero and full in V)")
    else:
        supply = table.quantity(
            "supply", "voltage", "1 V", "30 V", example='supply = "5 V"', default=5.0
        )
        zero = _voltage(table, "zero", "0.5 V", 0.5) / supply
        full = _voltage(table, "full", "4.5 V", 4.5) / supply
        if full > 1:
            table.fault(
                "full", "is more than the supply (the ADC reads shares of the supply, up to 1)"
            )
    if zero >= full:
        table.fault("zero", "is not less than full (zero belongs to no pressure, full to the span)")
    elif full - zero < 0.05:
        key = "full" if "full" in table else "zero"
        table.fault(key, "zero and full are less than 5 % of the supply apart (check both)")
    place = table.choice("place", ("boom", "before strainer"), default="boom")
    table.end()
    return Gauge(span, zero, full, cast("GaugePlace", place), bits)


def _code_share(table: Table, key: str, example: int, bits: int) -> float:
    """An ADC code as a share of full scale; NaN if it, or the number of bits, is wrong."""
    if table.raw("adc_bits") not in (None, bits):
        return float("nan")
    code = table.whole(key, 0, (1 << bits) - 1, example=f"{key} = {example}")
    return code / (1 << bits) if code == table.raw(key) else float("nan")


def _voltage(table: Table, key: str, example: str, default: float) -> float:
    return table.quantity(
        key, "voltage", "0 V", "30 V", example=f'{key} = "{example}"', default=default
    )


def read_wheel(table: Table) -> Wheel:
    pulses = table.quantity(
        "pulses",
        "pulses_per_length",
        "0.1 pulse/m",
        "10000 pulse/m",
        example='pulses = "12.5 pulse/ft"',
    )
    table.end()
    return Wheel(pulses)


def read_board(table: Table) -> Board:
    port = table.text("port", example='port = "/dev/ttyUSB0"', default=None, longest=1000)
    baud = table.whole("baud", 300, 4_000_000, example="baud = 115200", default=115200)
    table.end()
    return Board(port, baud)


def read_broker(table: Table, folder: Path, environ: Mapping[str, str]) -> Broker:
    host = table.text("host", example='host = "192.168.1.10"', default=None)
    if host and re.fullmatch(r"[A-Za-z0-9._:%-]+", host) is None:
        # Not repeated: a person may have pasted an address with a password in it.
        table.fault("host", "must be a name or an address alone, without scheme, user or password")
    tls = table.flag("tls", default=False)
    port = table.whole("port", 1, 65535, example="port = 1883", default=8883 if tls else 1883)
    user = environ.get("FLOWLOG_BROKER_USER") or ""
    password = environ.get("FLOWLOG_BROKER_PASSWORD") or ""
    user = table.text("user", example='user = "cart"') if not user else _skip(table, "user", user)
    if password:
        _skip(table, "password", "")
    else:
        password = table.text("password", example='password = "..."', secret=True)
    if password and not user:
        table.fault("password" if "password" in table else "user", "a password needs a user too")
    ca_file = _read_ca_file(table, folder, tls=tls)
    topic = table.text("topic", example='topic = "flowlog"', default="flowlog")
    if topic and re.fullmatch(r"(?!\$)[^+#/]+(?:/[^+#/]+)*", topic) is None:
        table.fault(
            "topic",
            f"'{one_line(topic)}' is no topic to publish under "
            "(no + or #, no empty level, no $ in front)",
        )
    table.end()
    return Broker(host, port, user or None, password or None, tls, ca_file, topic)


def _skip(table: Table, key: str, value: str) -> str:
    """The environment decides; the file's own value counts as known and is not looked at."""
    table.raw(key)
    return value


def _read_ca_file(table: Table, folder: Path, *, tls: bool) -> str | None:
    text = table.text("ca_file", example='ca_file = "/etc/flowlog/ca.pem"', longest=1000)
    if not text:
        return None
    if not tls:
        table.fault("ca_file", "is given, but tls is not true (add tls = true)")
    path = folder / Path(text).expanduser() if text.startswith("~") else folder / text
    if not path.is_file():
        table.fault("ca_file", f"'{one_line(text)}' is not a file that is there (looked at {path})")
    return str(path.absolute())


def read_page(table: Table) -> Page:
    usual = Page()
    example = 'listen = "0.0.0.0:8733"'
    text = table.text("listen", example=example, default=f"{usual.host}:{usual.port}")
    listen = parse_listen(text or "")
    if text and listen is None:
        table.fault(
            "listen",
            f"'{one_line(text)}' is no numeric address with a port (write for instance "
            f"{example} to let the rig's own network in, or leave it out for this machine alone)",
        )
    names = table.raw("names")
    if names is None:
        names = []
    elif not isinstance(names, list) or not all(
        isinstance(name, str) and re.fullmatch(r"[A-Za-z0-9-]+(\.[A-Za-z0-9-]+)*", name)
        for name in names
    ):
        table.fault("names", 'must be names of this machine (write for instance ["cart.lan"])')
        names = []
    table.end()
    host, port = listen or (usual.host, usual.port)
    return Page(host, port, tuple(name.lower() for name in names))


def parse_listen(text: str) -> tuple[str, int] | None:
    """`127.0.0.1:8733` or `[::1]:8733` as address and port; None if it is neither."""
    host, colon, port = text.strip().rpartition(":")
    if host.startswith("[") and host.endswith("]"):
        host = host[1:-1]
    elif ":" in host:
        return None
    try:
        address = str(ipaddress.ip_address(host))
    except ValueError:
        return None
    if not (colon and port.isascii() and port.isdecimal() and 1 <= int(port) <= 65535):
        return None
    return address, int(port)


def read_thresholds(table: Table) -> Thresholds:
    usual = Thresholds()
    rate = table.quantity(
        "rate", "share", "1 %", "50 %", example='rate = "10 %"', default=usual.rate_share
    )
    tip = table.quantity(
        "tip", "share", "10 %", "100 %", example='tip = "50 %"', default=usual.tip_share
    )
    alarms = table.number(
        "false_alarms_per_100_h",
        0.001,
        100,
        example="false_alarms_per_100_h = 0.2",
        default=usual.false_alarms_per_100_h,
    )
    stop = table.quantity(
        "stop_pause",
        "time",
        "5 s",
        "2 h",
        example='stop_pause = "3 min"',
        default=usual.stop_pause_s,
    )
    route = table.quantity(
        "route_pause",
        "time",
        "10 min",
        "48 h",
        example='route_pause = "4 h"',
        default=usual.route_pause_s,
    )
    if stop >= route:
        table.fault("stop_pause", "is not less than route_pause (a route has several stops)")
    table.end()
    return Thresholds(rate, tip, alarms, stop, route)
