"""S: what the fields of the samples say, one by one and from sample to sample."""

from __future__ import annotations

from collections.abc import Iterator

from flowlog.wire.conformance.counts import last_edges, total_count, wheel
from flowlog.wire.conformance.numbers import (
    clock_with_numbers,
    every_period,
    fine_steps,
    numbers_once,
)
from flowlog.wire.conformance.readings import fields, full_scale, options, rate_of_readings
from flowlog.wire.conformance.rules import Finding, unseen
from flowlog.wire.conformance.runs import Told

_PAIRWISE = ("S2", "S3", "S4", "S5", "S6", "S11")


def sample_findings(told: Told) -> Iterator[Finding]:
    """Findings S1 to S11."""
    yield fields(told)
    yield full_scale(told)
    if not told.samples:
        for number in (*_PAIRWISE, "S7", "S9", "S10"):
            yield unseen(number, "no good sample came")
        return
    yield rate_of_readings(told)
    yield options(told)
    if not told.steps:
        for number in (*_PAIRWISE, "S10"):
            yield unseen(number, "fewer than two samples came")
        return
    yield numbers_once(told)
    yield clock_with_numbers(told)
    yield fine_steps(told)
    yield total_count(told, "S5", "pulses")
    yield last_edges(told, "S6", "pulses", "edge_us")
    yield wheel(told)
    yield every_period(told)
