"""Every event that the pipeline can report: its name, how urgent it is, and what to check.

Wording for the person on the machine lives here and in `flowlog.monitor.wording`, so that the
screens, the log and MQTT say the same.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

Urgency = Literal["stop", "look", "note"]
"""stop: the job is going wrong now. look: check at the next chance. note: for the record."""


@dataclass(frozen=True, slots=True)
class Code:
    name: str
    urgency: Urgency
    title: str
    """A few words, for a screen read at arm's length."""
    checks: tuple[str, ...] = ()
    """What to look at, most likely and easiest first."""


_BOOM_CHECKS = (
    "Shut the boom, then walk it: look for a tip that does not spray or sprays a broken fan.",
    "Clean that tip and its strainer with water and a soft brush, never with the mouth.",
    "If every tip sprays, look at the strainer and hoses between gauge and tips.",
)

_ALL: Final = (
    Code("tip_blocked", "stop", "Tip blocked", _BOOM_CHECKS),
    Code(
        "boom_leak",
        "stop",
        "Boom passes too much",
        (
            "Shut the boom. Look for a missing tip, a loose cap or a burst hose.",
            "Stay clear of a spraying hose: it is under pressure and carries the mix.",
            "If nothing leaks, a flow sensor that counts twice or a foaming tank look the same.",
        ),
    ),
    Code(
        "boom_unexpected",
        "look",
        "Boom is not as described",
        (
            "Compare tips, number and spacing with the rig file.",
            "A tip blocked from the start looks like this: catch every tip once.",
            "An uncalibrated flow sensor or gauge looks like this too.",
        ),
    ),
    Code(
        "pressure_low",
        "stop",
        "Pressure low",
        (
            "Pump running, valve open, regulator where it was?",
            "Suction strainer and tank: clogged, empty, drawing air?",
            "A burst hose or missing tip takes the pressure down too.",
        ),
    ),
    Code(
        "pressure_high",
        "stop",
        "Pressure high",
        (
            "Regulator or bypass: shut or stuck?",
            "Several tips blocked raise the pressure too.",
            "High pressure makes fine drops that drift: slow down only with the label in hand.",
        ),
    ),
    Code(
        "rate_low",
        "stop",
        "Rate low",
        (
            "Pressure and ground speed: is it the gear and engine speed of the calibration?",
            "Look for blocked tips and clogged strainers.",
        ),
    ),
    Code(
        "rate_high",
        "stop",
        "Rate high",
        (
            "More than the label allows breaks the law: stop until it is understood.",
            "Pressure, worn tips, a leak, or slower than the calibrated speed?",
        ),
    ),
    Code(
        "meter_silent",
        "stop",
        "Flow sensor silent",
        (
            "Pressure is there but no pulses: plug and cable of the flow sensor.",
            "A rotor stuck with dirt: flush it with clean water.",
            "If the boom is shut, it is the gauge that does not fall: look there.",
        ),
    ),
    Code(
        "meter_double",
        "look",
        "Flow sensor counts twice",
        (
            "Pulses doubled and the pressure did not move: look for a loose screen or pull-up.",
            "A board that counts both edges of a pulse does this from the start.",
        ),
    ),
    Code(
        "meter_low",
        "stop",
        "Flow sensor reads low",
        (
            "Catch one tip for a minute: if it gives what it should, the flow sensor is at fault.",
            "Dirt on the rotor, a worn bearing: flush it with clean water, calibrate it again.",
        ),
    ),
    Code(
        "foam",
        "look",
        "Foam in the tank",
        (
            "Look into the tank from a distance: foam on the liquid, the return line above it?",
            "Slow the agitation; the label says which anti-foam agent it allows.",
            "The rate shown holds gas: less is applied than it says.",
        ),
    ),
    Code(
        "air_drawn",
        "stop",
        "Pump draws air",
        (
            "Is the tank empty? Stop: a pump that runs dry is spoilt within minutes.",
            "Suction hose and strainer: a loose clamp, a cracked hose, a lid that does not vent.",
        ),
    ),
    Code(
        "supply_weak",
        "stop",
        "Supply weak",
        (
            "Suction strainer and tank vent: clogged, shut?",
            "Pump: engine speed, belt, voltage at the pump while it runs.",
            "Regulator or bypass: open wider than it was?",
        ),
    ),
    Code(
        "regulator_moved",
        "look",
        "Pressure was moved",
        (
            "Did somebody turn the regulator? Then the rate is another, too.",
            "If not: a relief valve that sticks, an engine at another speed.",
        ),
    ),
    Code(
        "mix_changed",
        "note",
        "Mix of another density",
        ("A part of a tip that clogged in the pause looks the same: look once at the tips.",),
    ),
    Code(
        "boom_drift",
        "look",
        "Boom drifts slowly",
        (
            "Passes more: tips wear. Catch each tip; replace the set at 10 % over new.",
            "Passes less: tip strainers that fill. Clean them.",
            "Gauge or flow sensor drift look alike: calibrate with clean water.",
        ),
    ),
    Code(
        "meter_implausible",
        "look",
        "Flow sensor implausible",
        (
            "More pulses than this flow sensor can give: ignition noise, a loose screen.",
            "Keep its cable away from the engine's; check the ground.",
        ),
    ),
    Code(
        "gauge_open",
        "look",
        "Gauge signal missing",
        ("Plug and cable of the gauge: supply, ground and signal.",),
    ),
    Code(
        "gauge_short",
        "look",
        "Gauge signal at its limit",
        ("The gauge's signal touches its supply: plug and cable, water in the plug.",),
    ),
    Code(
        "gauge_stuck",
        "look",
        "Gauge does not move",
        ("Flow started or stopped and the pressure did not follow: a clogged snubber or hose.",),
    ),
    Code(
        "gauge_implausible",
        "look",
        "Gauge implausible",
        ("It reads well below zero: wrong zero in the rig file, or a damaged gauge.",),
    ),
    Code(
        "gauge_drift",
        "look",
        "Gauge's zero has moved",
        (
            "Switch the pump off, let the pressure out through a tip, and read: it must be zero.",
            "Calibrate the gauge's zero again; one that moves again wants to be replaced.",
            "If it reads zero: check valves that hold another pressure look the same.",
        ),
    ),
    Code(
        "valve_passes",
        "stop",
        "Boom valve passes",
        (
            "Shut the pump off: the ground under the boom gets more than the label allows.",
            "Dirt in the valve's seat, a motor that does not reach its end, its input's wiring.",
        ),
    ),
    Code(
        "valve_dry",
        "look",
        "Nothing comes",
        (
            "Pump off, tank empty, or a boom valve that does not open?",
            "If it sprays all the same: flow sensor and gauge have lost their supply.",
        ),
    ),
    Code("tank_low", "look", "Tank low", ("Plan the refill; a pump that draws air is spoilt.",)),
    Code(
        "lines_lost",
        "look",
        "Cable loses data",
        ("Volume stays right, since counts are totals; look at the cable to the board.",),
    ),
    Code(
        "board_strange",
        "look",
        "Board speaks another protocol",
        ("Put the firmware on the board that belongs to this version.",),
    ),
    Code(
        "board_unnamed",
        "look",
        "Board has not said hello",
        ("Pressure is not judged until it does; restart the board.",),
    ),
    Code("board_reset", "note", "Board restarted", ("Its supply and plug, if it comes again.",)),
    Code("counter_jump", "note", "Counts jumped", ("The cable, if it comes again.",)),
    Code("data_gap", "note", "Data missing"),
)

CODES: Final[dict[str, Code]] = {code.name: code for code in _ALL}
