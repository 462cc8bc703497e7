"""Live states made up for the page, and a stand-in for the event stream that shows them.

For states that a simulated rig reaches seldom or not at a moment of one's choice. All invented.
"""

from __future__ import annotations

import copy
import json
from typing import Any

FAKE_STREAM = """
window.EventSource = class extends EventTarget {
  constructor() { super(); window.stream = this; this.readyState = 1; this.onerror = null; }
  close() { this.readyState = 2; }
};
window.tell = (kind, data) => window.stream.dispatchEvent(
  new MessageEvent(kind, {data: JSON.stringify(data)}));
"""

TIP_BLOCKED: dict[str, Any] = {
    "id": "r:tip_blocked/1",
    "code": "tip_blocked",
    "title": "Tip blocked",
    "urgency": "stop",
    "text": "The boom passes 88 % of what it passes when healthy: about 1.0 of 8 tips blocked.",
    "sure": "95 % sure: 0.8 to 1.2 tips",
    "probability": None,
    "since_s": 12.4,
    "since": None,
    "checks": ["Shut the boom, then walk it.", "Clean that tip and its strainer with water."],
    "acknowledged": False,
    "news": 1,
}
TANK_LOW: dict[str, Any] = {
    **TIP_BLOCKED,
    "id": "r:tank_low/2",
    "code": "tank_low",
    "title": "Tank low",
    "urgency": "look",
    "text": "7.9 gal left.",
    "sure": "",
    "since_s": 100.0,
    "checks": ["Plan the refill; a pump that draws air is spoilt."],
}
BROKER_AWAY: dict[str, Any] = {
    **TANK_LOW,
    "id": "r:broker_away/3",
    "code": "broker_away",
    "title": "Broker away",
    "urgency": "note",
    "text": "The broker has not answered.",
    "checks": [],
}

_SUMS = {
    "area": "12,917 ft2",
    "area_m2": 1200.0,
    "volume": "14.1 gal",
    "volume_m3": 0.0534,
    "rate": "1.09",
    "sprayed": "3 min 05 s",
    "sprayed_s": 185.0,
}
_STATE: dict[str, Any] = {
    "server": {"time": "2026-01-01T12:00:00.000Z"},
    "age_s": 0.4,
    "freshness": "live",
    "daemon": True,
    "advice": "",
    "clock": "12:00:00",
    "rig": {"name": "Demo cart", "slug": "demo-cart", "units": "us"},
    "phase": "spraying",
    "rate": {
        "value": 1.08, "text": "1.08", "unit": "gal/1000 ft2", "target": 1.1, "low": 1.045,
        "high": 1.155, "off": -0.018, "verdict": "on rate", "speed": "assumed",
    },
    "flow": {
        "value": 3.92, "text": "3.92", "unit": "gal/min", "target": 4.0, "low": 3.8,
        "high": 4.2, "verdict": "on rate",
    },
    "pressure": {
        "value": 38.2, "text": "38", "unit": "psi", "low": 25, "high": 50, "verdict": "in band",
    },
    "tank": {
        "value": 31.4, "text": "31.4", "unit": "gal", "full": 50, "low": False, "area": 28545,
        "area_unit": "ft2", "area_text": "28,545 ft2", "minutes": 7.9, "at": "present flow",
    },
    "stop": {**_SUMS, "number": 2, "name": "Mill Lane 9", "marked": False},
    "route": {**_SUMS, "area": "31,402 ft2", "volume": "34.4 gal", "id": "r", "number": 1},
    "mark": None,
    "alerts": [],
    "cleared": [],
    "noted": "",
}  # fmt: skip


def state(**changes: Any) -> dict[str, Any]:
    """The state of a healthy rig, with changes; a dictionary changes only what it names."""
    made = copy.deepcopy(_STATE)
    for name, value in changes.items():
        if isinstance(value, dict) and isinstance(made[name], dict):
            made[name] |= value
        else:
            made[name] = value
    return made


BOOM_SHUT = state(
    phase="off",
    rate={"value": None, "text": "--", "off": None, "verdict": None},
    flow={"value": 0.0, "text": "0.00", "verdict": None},
    pressure={"verdict": None},
)
A_LITTLE_HIGH = state(
    rate={"value": 1.18, "text": "1.18", "off": 0.073, "verdict": "a little high"},
    flow={"value": 4.3, "text": "4.30", "verdict": "a little high"},
)
TOO_LOW = state(
    rate={"value": 0.83, "text": "0.83", "off": -0.245, "verdict": "too low"},
    flow={"value": 3.02, "text": "3.02", "verdict": "too low"},
    pressure={"value": 53.0, "text": "53", "verdict": "above band"},
)


def tell(page: Any, news: dict[str, Any], kind: str = "state") -> None:
    """Let the stand-in stream say something to a page that was opened with FAKE_STREAM."""
    page.evaluate(f"window.tell({json.dumps(kind)}, {json.dumps(news)})")
