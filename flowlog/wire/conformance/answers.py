"""C: what the board does when it hears something."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import Final

from flowlog.wire.conformance.heard import Sent, SentKind
from flowlog.wire.conformance.hellos import ANSWER_S, HOST_S
from flowlog.wire.conformance.rules import Finding, failed, passed, unseen
from flowlog.wire.conformance.runs import Told

WATCH_S: Final = 3.0
"""So long after something was sent, and until the next is, what goes wrong is blamed on it."""
_ASK: Final = "nothing was sent; check a port to see it"

Trouble = tuple[float, str]
"""When, by the host's clock, and what."""


def answer_findings(told: Told) -> Iterator[Finding]:
    """Findings C1 to C4."""
    troubles = _troubles(told)
    yield _unasked(told)
    yield _undisturbed(told, "C2", "alarm", troubles)
    yield _damaged(told)
    yield _undisturbed(told, "C4", "garbage", troubles)


def _times(told: Told, kind: SentKind) -> list[float]:
    return [sent.at_s for sent in told.heard.sent if sent.kind == kind]


def _unasked(told: Told) -> Finding:
    if not told.heard.sent:
        return unseen("C1", _ASK)
    first = min(sent.at_s for sent in told.heard.sent)
    before = sum(int((run.at_s < first).sum()) for run in told.runs)
    if before:
        return passed("C1", f"{before} samples before the first byte was sent")
    quiet_s = first - (told.heard.begins if told.heard.begins is not None else first)
    if told.samples:
        return failed("C1", f"no sample in {quiet_s:.1f} s; they came after the host had spoken")
    return failed("C1", f"no sample in {quiet_s:.1f} s, nor later")


def _undisturbed(told: Told, number: str, kind: SentKind, troubles: Sequence[Trouble]) -> Finding:
    sent = _times(told, kind)
    if not sent:
        return unseen(number, _ASK)
    what = "after a pattern" if kind == "alarm" else "after garbage"
    blamed = [(at, text) for at, text in troubles if any(0 <= at - t <= WATCH_S for t in sent)]
    if not told.samples:
        return unseen(number, "no good sample came")
    # The last thing sent before it: trouble after another one is that one's.
    ours = [text for at, text in blamed if _cause(told.heard.sent, at) == kind]
    ours.sort(key=lambda text: text.startswith("no sample"))  # silence is what follows of it
    if ours:
        return failed(
            number, f"{what}: {ours[0]}" + (f" and {len(ours) - 1} more" * (len(ours) > 1))
        )
    if kind == "garbage" and (silent := _request_unheard(told)):
        return failed(number, silent)
    return passed(number, f"{len(sent)} sent, nothing {what}")


def _cause(sent: Sequence[Sent], at_s: float) -> str:
    return next((s.kind for s in sorted(sent, key=lambda s: -s.at_s) if s.at_s <= at_s), "")


def _request_unheard(told: Told) -> str:
    """The first request behind the garbage tells whether the ear has recovered."""
    garbage = max(_times(told, "garbage"))
    later = [at for at in _times(told, "hello") if at > garbage]
    earlier = [at for at in _times(told, "hello") if at < garbage]
    if not later:
        return ""
    hellos = [line.at_s for _, line, _ in told.heard.hellos if line.at_s is not None]

    def answered(at: float) -> bool:
        return any(0 <= t - at <= ANSWER_S + HOST_S for t in hellos)

    # A board that never answers has its finding in H3.
    if told.heard.stalled(later[0], later[0] + ANSWER_S + HOST_S):
        return ""
    if any(answered(at) for at in earlier) and not answered(later[0]):
        return "the request behind the garbage was not answered"
    return ""


def _damaged(told: Told) -> Finding:
    asked = _times(told, "damaged")
    if not asked:
        return unseen("C3", _ASK)
    hellos = [line.at_s for _, line, _ in told.heard.hellos if line.at_s is not None]
    answered = sum(any(0 <= t - at <= ANSWER_S + HOST_S for t in hellos) for at in asked)
    # One may be the hello of the minute.
    if answered > 1 or answered == len(asked) == 1:
        return failed("C3", f"{answered} of {len(asked)} were answered with a hello")
    return passed("C3", f"{len(asked)} requests with a wrong checksum")


def _troubles(told: Told) -> list[Trouble]:
    """Bad lines, starts, missing samples and silence, with the host's time."""
    found: list[Trouble] = [
        (line.at_s, f"a bad line ({fault.text}: {line.shown})")
        for _, line, fault in told.heard.faults
        if line.at_s is not None
    ]
    for run in told.runs:
        at = run.at_s.tolist()
        if run.started:
            found.append((at[0], "the board started again"))
        for i, step in enumerate(run.steps("seq").tolist()):
            if step > 1 and not told.heard.lines[int(run.where[i + 1])].after_wait:
                found.append((at[i + 1], f"{step - 1} samples are missing"))
    found += _silences(told)
    return sorted(found)


def _silences(told: Told) -> list[Trouble]:
    times = [t for run in told.runs for t in run.at_s.tolist() if not math.isnan(t)]
    ends = told.heard.ends
    if not times or ends is None:
        return []
    longest = max(1.0, 4 * told.period_us / 1e6)
    times.append(ends)
    return [
        (a + longest, f"no sample for {b - a:.1f} s")
        for a, b in pairwise(times)
        if b - a > longest
        and any(sent.at_s <= b for sent in told.heard.sent)
        and not told.heard.stalled(a, b)
    ]
