"""An alert's evidence as JSON, for programs: in SI, with the unit in every key."""

from __future__ import annotations

import json
from dataclasses import asdict
from typing import Any, Final

import numpy as np

from flowlog.review.explain import Explanation
from flowlog.review.explain_replay import Floats
from flowlog.review.explain_signs import Signs
from flowlog.review.explain_words import doubts_of, sections_of
from flowlog.review.export_json import event_body, finite
from flowlog.review.words import iso_times

VERSION: Final = 1


def explain_json(told: Explanation) -> str:
    """Everything about one alert; times in seconds count from its onset."""
    return json.dumps(_body(told), indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def _body(told: Explanation) -> dict[str, Any]:
    ticks, seconds = told.ticks, told.seconds
    return {
        "format": "flowlog explanation",
        "version": VERSION,
        "rig": told.review.rig.name,
        "recording": told.source or None,
        "route": None if told.source else told.review.number,
        "route_uid": told.review.route.uid,
        "alert": told.alert.alert,
        "number": told.number,
        "judged_by": told.kind,
        "said_again": bool(told.again),
        "differs": told.differs,
        "raw_samples_gone": told.gone,
        "notes": doubts_of(told),
        "onset_utc": iso_times(told.said[0].since_wall_us)[1],
        "onset_route_s": finite(told.onset_of_route_s),
        "onset_earlier_s": finite(told.opened.details.get("since_earlier_s")),
        "onset_later_s": finite(told.opened.details.get("since_later_s")),
        "came_over_s": finite(told.opened.details.get("came_over_s")),
        "said_s": finite(told.said_s),
        "cleared_s": finite(told.cleared_s),
        "window_s": [finite(told.begin_s), finite(told.end_s)],
        "events": [
            {"at_s": finite(at), "at_utc": iso_times(row.wall_us)[1], **event_body(row.event)}
            for row, at in zip(told.said, told.changes_s, strict=True)
        ],
        "replayed": [event_body(event) for event in told.again],
        "instead": [event_body(event) for event in told.instead],
        "signs": None if told.signs is None else _signs(told.signs),
        "ticks": {
            "at_s": _plain(told.tick_s),
            "residual_log": _plain(ticks.residual),
            "baseline_log_conductance": _plain(ticks.level),
            "pressure_pa": _plain(np.exp(ticks.log_pressure)),
            "noise_density_s": _plain(ticks.density_s),
            "roughness": _plain(ticks.roughness),
            "fault_log": _plain(ticks.fault_level),
            "test_shift_log": _plain(ticks.shift),
            "test_nats": _plain(ticks.nats),
            "test_threshold_nats": _plain(ticks.threshold),
        },
        "readings": {
            "at_s": _plain(seconds.at_s),
            "flow_m3_s": _plain(seconds.flow_m3_s),
            "pressure_pa": _plain(seconds.pressure_pa),
        },
        "words": [
            {"title": section.title, "lines": list(section.lines)} for section in sections_of(told)
        ],
    }


def _signs(signs: Signs) -> dict[str, Any]:
    answer = signs.answer
    return {
        "reference": asdict(signs.reference),
        "shift_log": finite(signs.shift),
        "pressure_moved_log": None if answer is None else finite(answer.moved),
        "pressure_moved_log_sd": None if answer is None else finite(answer.sd),
        "pressure_expected_log": None if signs.expected is None else list(signs.expected),
        "pressure_verdict": signs.verdict,
        "ten_second_mean_95_log": finite(signs.spread),
        "roughness": finite(signs.roughness),
        "rough_since": finite(signs.rough_since),
        "test": None
        if signs.crossing is None
        else {
            "shift_log": finite(signs.crossing.shift),
            "nats": finite(signs.crossing.nats),
            "threshold_nats": finite(signs.crossing.threshold),
        },
    }


def _plain(values: Floats) -> list[float | None]:
    return [float(f"{value:.7g}") if np.isfinite(value) else None for value in values]
