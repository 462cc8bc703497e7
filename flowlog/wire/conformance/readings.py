"""S1, S7, S8, S9: fields in their ranges, the gauge's readings, the optional fields."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from flowlog.wire.conformance.heard import Line
from flowlog.wire.conformance.rules import Finding, advised, failed, passed, unseen
from flowlog.wire.conformance.runs import Told
from flowlog.wire.parse import Fault
from flowlog.wire.samples import ABSENT

RATE_TOLERANCE: Final = 0.95
"""Readings in a period, against 1 kHz: a first, shorter period and a late timer are no fault."""

Bad = Sequence[tuple[Line, Fault]]


def fields(told: Told) -> Finding:
    """S1: lines with a right checksum that are no samples all the same."""
    bad = [(line, fault) for line, fault in _malformed(told) if not _of_readings(fault)]
    if bad:
        line, fault = bad[0]
        return failed("S1", f"{len(bad)} lines, first: {fault.text}: {line.shown}")
    if not told.samples:
        return unseen("S1", "no good sample came")
    return passed("S1", f"{told.samples} samples")


def _malformed(told: Told) -> Bad:
    return [
        (line, fault)
        for _, line, fault in told.heard.faults
        if fault.kind == "malformed" and line.raw[:2] != b"H,"
    ]


def _of_readings(fault: Fault) -> bool:
    """Whether each number is one, and only together they make no sense."""
    return fault.text.startswith("adc_") and "whole number" not in fault.text


def rate_of_readings(told: Told) -> Finding:
    if told.hello is not None and "P" not in told.hello.channels:
        return unseen("S7", "no gauge is fitted")
    number = np.concatenate([run.column("adc_n") for run in told.runs])
    due = told.period_us / 1000
    middle = float(np.median(number))
    if middle < RATE_TOLERANCE * due:
        if middle == 1:
            return failed("S7", "one reading a sample", "add up all readings between two samples")
        return failed("S7", f"{middle:.0f} readings a sample where 1 kHz makes {due:.0f}")
    uneven = int(np.sum(number < 0.5 * middle))
    # The first sample of a run may be cut short by the start.
    if uneven > len(told.runs) and uneven > 0.005 * len(number):
        return advised("S7", f"{uneven} of {len(number)} samples have half the readings or fewer")
    return passed("S7", f"{1000 * middle / due:.0f} Hz")


def full_scale(told: Told) -> Finding:
    """S8: sum, number, lowest and highest, and the highest against the bits of the hello."""
    bad = [(line, fault) for line, fault in _malformed(told) if _of_readings(fault)]
    if bad:
        line, fault = bad[0]
        return failed("S8", f"{len(bad)} lines, first: {fault.text}: {line.shown}")
    if not told.samples:
        return unseen("S8", "no good sample came")
    if told.hello is None:
        return unseen("S8", "no hello said how many bits a reading has")
    bits = told.hello.adc_bits
    wrong = [
        (run, int(i)) for run in told.runs for i in np.flatnonzero(run.column("adc_max") >> bits)
    ]
    if wrong:
        run, row = wrong[0]
        return failed(
            "S8",
            f"{len(wrong)} samples above {(1 << bits) - 1}, {bits} bits: {told.line(run, row)}",
        )
    return passed("S8", f"{told.samples} samples")


def options(told: Told) -> Finding:
    valve = np.concatenate([run.column("valve") for run in told.runs]) != ABSENT
    wheel = np.concatenate([run.column("wheel") for run in told.runs]) != ABSENT
    for name, there in (("valve", valve), ("wheel", wheel)):
        if there.any() and not there.all():
            return failed("S9", f"{name} is in {int(there.sum())} of {len(there)} samples")
    if told.hello is None:
        return unseen("S9", "no hello named the channels")
    channels = told.hello.channels
    for letter, name, there in (("V", "valve", valve), ("W", "wheel", wheel)):
        if bool(there[0]) != (letter in channels):
            has = "sent" if there[0] else "not sent"
            return failed("S9", f"{name} is {has} and channels is {channels}")
    if "F" not in channels and any(run.column("pulses").any() for run in told.runs):
        return failed("S9", f"pulses come and channels is {channels}")
    if "P" not in channels and any(run.column("adc_max").any() for run in told.runs):
        return failed("S9", f"readings come and channels is {channels}")
    return passed("S9", channels)
