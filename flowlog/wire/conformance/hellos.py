"""H: what the board says of itself."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Final

import numpy as np

from flowlog.wire.conformance.heard import Heard, Line
from flowlog.wire.conformance.rules import Finding, failed, passed, unseen
from flowlog.wire.conformance.runs import Told
from flowlog.wire.inline import MASK
from flowlog.wire.records import PROTOCOL, Hello

_HALF: Final = 1 << 31
ANSWER_S: Final = 0.5
"""A request is answered within this."""
HOST_S: Final = 0.15
"""What the host's own reading may add: a line's time, the latency of USB, a busy processor."""
MINUTE_S: Final = 60.0
MINUTE_SLACK_S: Final = 3.0
"""A board's clock may be off by a percent, and it counts whole periods."""


def hello_findings(told: Told) -> Iterator[Finding]:
    """Findings H1 to H6."""
    heard = told.heard
    bad = [
        (line, fault)
        for _, line, fault in heard.faults
        if fault.kind == "malformed" and line.raw[:2] == b"H,"
    ]
    hellos = heard.hellos
    if bad:
        line, fault = bad[0]
        yield failed("H1", f"{len(bad)} lines, first: {fault.text}: {line.shown}")
    elif not hellos:
        yield unseen("H1", "no hello came")
    elif hellos[0][2].protocol != PROTOCOL:
        line = hellos[0][1]
        yield failed(
            "H1", f"protocol {hellos[0][2].protocol} where {PROTOCOL} is known: {line.shown}"
        )
    else:
        yield passed("H1", hellos[0][1].shown)
    yield _first(told)
    yield _answers(heard)
    yield _minute(told)
    yield _next_number(told)
    yield _agree(told)


def _first(told: Told) -> Finding:
    """A start is a run that follows another one, or one that begins with number 0."""
    starts = [
        (i, run) for i, run in enumerate(told.runs) if run.started or int(run.column("seq")[0]) == 0
    ]
    if not starts:
        return unseen("H2", "no start was heard; restart the board while it is checked")
    places = [i for i, _, _ in told.heard.hellos]
    swallowed = 0
    late = []
    for i, run in starts:
        first = int(run.where[0])
        before = int(told.runs[i - 1].where[-1]) if i else -1
        if any(before < place < first for place in places):
            continue
        between = told.heard.lines[before + 1 : first]
        if any(b"H," in line.raw for line in between):
            swallowed += 1
        elif int(run.column("seq")[0]) == 0 and (before >= 0 or not told.heard.cut_in):
            late.append(told.line(run, 0))
    if late:
        return failed("H2", f"{len(late)} of {len(starts)} starts without: {late[0]}")
    if swallowed:
        return failed(
            "H2",
            f"in {swallowed} of {len(starts)} starts the hello is glued to the line that was cut",
            "send one LF before the first hello",
        )
    return passed("H2", f"{len(starts)} starts")


def _answers(heard: Heard) -> Finding:
    asked = [sent.at_s for sent in heard.sent if sent.kind == "hello"]
    if not asked:
        return unseen("H3", "nothing was asked; check a port to see it")
    asked = [at for at in asked if not heard.stalled(at, at + ANSWER_S + HOST_S)]
    if not asked:
        return unseen("H3", "this computer was slow to read; stop what else it does")
    times = [line.at_s for _, line, _ in heard.hellos if line.at_s is not None]
    waits = [min((t - at for t in times if t >= at), default=None) for at in asked]
    good = [wait for wait in waits if wait is not None and wait <= ANSWER_S + HOST_S]
    if len(good) == len(asked):
        return passed(
            "H3", f"{len(asked)} requests, answered after {1000 * max(good):.0f} ms at most"
        )
    late = [f"{wait:.1f} s" for wait in waits if wait is not None and wait > ANSWER_S + HOST_S]
    said = f"{len(asked) - len(good)} of {len(asked)} requests not answered in time"
    return failed("H3", said + (f" (next hello after {', '.join(late)})" if late else ""))


def _minute(told: Told) -> Finding:
    """Between hellos the samples tell the time, so that a recording can be judged as well."""
    period_s = told.period_us / 1e6
    longest = 0.0
    unasked = 0
    for run in told.runs:
        seq = run.column("seq")
        first = int(seq[0])
        last = (int(seq[-1]) - first) & MASK
        marks = [0]
        for place, line, hello in told.heard.hellos:
            if run.where[0] <= place <= run.where[-1]:
                at = (hello.seq - first) & MASK
                if at > last + 1:
                    continue
                marks.append(at)
                unasked += at > 0 and not _asked_for(told.heard, line.at_s)
        marks = sorted([*marks, last])
        longest = max(longest, float(np.max(np.diff(marks))) * period_s)
    if longest > MINUTE_S + MINUTE_SLACK_S + period_s:
        return failed("H4", f"{longest:.0f} s without a hello")
    if unasked:
        return passed("H4", f"{longest:.0f} s between two at most")
    return unseen("H4", "listen for 130 s or more to see it (--seconds 130)")


def _asked_for(heard: Heard, at_s: float | None) -> bool:
    if at_s is None:
        return False
    return any(0 <= at_s - sent.at_s <= 2 * ANSWER_S for sent in heard.sent if sent.kind != "alarm")


def _next_number(told: Told) -> Finding:
    """The next sample that is heard has that number, or a later one if lines were lost between."""
    compared = wrong = 0
    example = ""
    lines = told.heard.lines
    for place, line, hello in told.heard.hellos:
        after = _next_sample(lines, place)
        if after is None or after[1][0] != hello.boot:
            continue
        ahead = ((after[1][1] - hello.seq + _HALF) & MASK) - _HALF
        # Where a line may be lost as well, the sample before still bounds the number from below.
        before = _last_sample(lines, place)
        lost = (
            before is not None and before[0] == hello.boot and (after[1][1] - before[1]) & MASK > 1
        )
        compared += 1
        if ahead < 0 or (ahead > 0 and not lost):
            wrong += 1
            example = example or f"{line.shown} and then {after[0].shown}"
    if wrong:
        return failed("H5", f"{wrong} of {compared}, first: {example}")
    if not compared:
        return unseen("H5", "no hello was followed by a sample")
    return passed("H5", f"{compared} hellos")


def _next_sample(lines: Sequence[Line], place: int) -> tuple[Line, list[int]] | None:
    """The sample behind a hello, other hellos skipped; None if something else stands there."""
    for i in range(place + 1, len(lines)):
        record = lines[i].record
        if isinstance(record, list):
            return lines[i], record
        if not isinstance(record, Hello):
            return None
    return None


def _last_sample(lines: Sequence[Line], place: int) -> list[int] | None:
    for i in range(place - 1, -1, -1):
        record = lines[i].record
        if isinstance(record, list):
            return record
    return None


def _agree(told: Told) -> Finding:
    hellos = told.heard.hellos
    if not hellos:
        return unseen("H6", "no hello came")
    for (_, one, a), (_, two, b) in pairwise(hellos):
        if replace(a, seq=0, boot=0, reset="") != replace(b, seq=0, boot=0, reset=""):
            return failed("H6", f"{one.shown} and then {two.shown}")
        if a.boot == b.boot and b.seq >= a.seq and a.reset != b.reset and a.boot:
            return failed("H6", f"{one.shown} and then {two.shown}")
    for run in told.runs:
        boots = set(run.column("boot").tolist())
        for place, line, hello in hellos:
            if run.where[0] < place < run.where[-1] and hello.boot not in boots:
                return failed("H6", f"boot {hello.boot}, samples {sorted(boots)}: {line.shown}")
    steps = [run.steps("clock_us")[run.steps("seq") == 1] for run in told.runs]
    joined = np.concatenate(steps) if steps else np.empty(0)
    if len(joined) >= 5:
        shown = float(np.median(joined))
        if shown > 0 and abs(shown - told.period_us) > 0.1 * told.period_us:
            return failed(
                "H6",
                f"period_ms is {told.period_us // 1000}, the clock goes {shown:.0f} us a sample",
                "say the true period in the hello, in milliseconds; or mend the clock (S3, T1)",
            )
    return passed("H6", f"{len(hellos)} hellos")
