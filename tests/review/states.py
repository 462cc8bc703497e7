"""Helpers: live states to draw."""

from __future__ import annotations

from dataclasses import replace

from flowlog.monitor.outputs import Position, Reading
from flowlog.review.live_state import LiveAlert, LiveState, Totals
from flowlog.rig.model import Board, Boom, Gauge, Meter, Rig, Tank, Tip, Work

RIG = Rig(
    name="Test rig",
    boom=Boom(8, 0.508, Tip(5.047e-5, 275_790.0), 172_369.0, 344_738.0),
    work=Work(rate_m3_m2=6.11187e-5, speed_m_s=1.43),
    meter=Meter(450e3, 3e-5, 5e-4),
    gauge=Gauge(689_476.0),
    board=Board("/dev/null"),
    tank=Tank(0.227, 0.02),
)
READING = Reading(
    at=Position(0, 1000, 100_000_000),
    seconds=1.0,
    phase="spraying",
    pulses=180,
    volume_m3=4e-4,
    area_m2=5.8,
    flow_m3_s=3.55e-4,
    pressure_pa=275_790.0,
    pressure_min_pa=270e3,
    pressure_max_pa=280e3,
    rate_m3_m2=6.11187e-5,
    speed_m_s=1.43,
    conductance_share=0.995,
    tank_m3=0.15,
    samples=10,
    lost=0,
)
STATE = LiveState(
    rig=RIG,
    freshness="LIVE",
    age_s=0.8,
    reading=READING,
    clock="10:42:07",
    route=Totals("ROUTE", 2881.0, 0.174, 6.1e-5, 1200.0),
    stop=Totals("STOP 2", 1200.0, 0.07, 6.1e-5, 300.0, "north lawn"),
    alerts=(),
)
ALERT = LiveAlert(
    title="Tip blocked",
    urgency="stop",
    text="1.0 tip of 8 blocked (0.8 to 1.2): the boom passes 13 % less than its healthy baseline.",
    sure="",
    since_s=42.0,
    checks=(
        "Shut the boom, then walk it: look for a tip that does not spray or sprays a broken fan.",
        "Clean that tip and its strainer with water and a soft brush, never with the mouth.",
    ),
)
NOTHING = replace(
    READING,
    flow_m3_s=None,
    pressure_pa=None,
    pressure_min_pa=None,
    pressure_max_pa=None,
    rate_m3_m2=None,
    speed_m_s=None,
    conductance_share=None,
    tank_m3=None,
)
