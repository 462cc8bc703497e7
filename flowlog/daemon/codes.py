"""Every event that the daemon itself reports, beside those of the pipeline."""

from __future__ import annotations

from typing import Final

from flowlog.monitor.codes import CODES as MONITOR_CODES
from flowlog.monitor.codes import Code

_ALL: Final = (
    Code(
        "port_lost",
        "look",
        "Board not connected",
        (
            "Plug and cable between computer and board; does the board have power?",
            "The name of the port in the rig file: a by-id name stays the same.",
        ),
    ),
    Code(
        "data_silent",
        "look",
        "Board says nothing",
        (
            "The port is open and nothing comes: is the board running?",
            "Baud rate in the rig file and in the firmware.",
        ),
    ),
    Code(
        "data_unreadable",
        "look",
        "Board cannot be understood",
        (
            "Is this the board's port, and not another device's?",
            "Baud rate in the rig file and in the firmware; then the cable and its ground.",
        ),
    ),
    Code(
        "store_failing",
        "look",
        "Nothing is written",
        (
            "Is the disk full, or the card write-protected or worn out?",
            "Readings are kept in memory for some hours: do not turn the power off before it "
            "writes again.",
        ),
    ),
    Code(
        "disk_low",
        "look",
        "Disk almost full",
        ("Only events are kept now. Copy old data away and delete it here.",),
    ),
    Code("data_dropped", "look", "Readings dropped"),
    Code(
        "broker_away",
        "note",
        "Broker away",
        ("Nothing is lost here: messages wait and are sent when it is back.",),
    ),
    Code(
        "monitor_failed",
        "look",
        "Monitor began anew",
        ("What was measured is stored; please report it with the log and the route.",),
    ),
    Code("clock_set", "note", "Clock was set"),
    Code("tank_carried", "note", "Tank carried over"),
    Code("raw_deleted", "note", "Raw samples deleted"),
    Code("mark_refused", "note", "Mark not understood"),
)

CODES: Final[dict[str, Code]] = {code.name: code for code in _ALL}


def urgency_of(code: str) -> str:
    """How urgent an event of either source is; an unknown code is worth a look."""
    found = CODES.get(code) or MONITOR_CODES.get(code)
    return found.urgency if found else "look"


def title_of(code: str) -> str:
    """The few words that stand for a code of either source."""
    found = CODES.get(code) or MONITOR_CODES.get(code)
    return found.title if found else code.replace("_", " ")
