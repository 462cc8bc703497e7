"""From bytes with times to findings about every rule."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from textwrap import wrap
from typing import Any, Final

from flowlog.wire.conformance.answers import answer_findings
from flowlog.wire.conformance.heard import Piece, Sent, Stall, hear
from flowlog.wire.conformance.hellos import hello_findings
from flowlog.wire.conformance.lines import line_findings
from flowlog.wire.conformance.pace import pace_findings
from flowlog.wire.conformance.rules import RULES, SECTIONS, Finding, Verdict
from flowlog.wire.conformance.runs import Told, tell
from flowlog.wire.conformance.samples import sample_findings
from flowlog.wire.conformance.starts import start_findings
from flowlog.wire.records import Hello

_WIDTH: Final = 100
_MARKS: Final[dict[Verdict, str]] = {
    "pass": "ok",
    "fail": "WRONG",
    "advice": "better",
    "not seen": "-",
}


@dataclass(frozen=True, slots=True)
class Report:
    """A finding for each rule, in the order of `RULES`."""

    findings: tuple[Finding, ...]
    hello: Hello | None
    bytes: int
    samples: int
    bad_lines: int

    def of(self, number: str) -> Finding:
        """The finding about the rule of this number."""
        return next(finding for finding in self.findings if finding.rule.number == number)

    def numbers(self, verdict: Verdict) -> list[str]:
        return [f.rule.number for f in self.findings if f.verdict == verdict]

    @property
    def failed(self) -> tuple[Finding, ...]:
        """What the page forbids. Empty: the board conforms, as far as it was seen."""
        return tuple(finding for finding in self.findings if finding.verdict == "fail")

    def body(self) -> dict[str, Any]:
        """For JSON."""
        hello = self.hello
        return {
            "conforms": not self.failed,
            "board": None if hello is None else hello.board,
            "firmware": None if hello is None else hello.firmware,
            "bytes": self.bytes,
            "samples": self.samples,
            "bad_lines": self.bad_lines,
            "findings": [finding.body() for finding in self.findings],
        }

    def text(self) -> str:
        """For the person who writes the firmware."""
        lines: list[str] = []
        for letter, heading in SECTIONS.items():
            lines += ["", heading]
            for finding in self.findings:
                if finding.rule.number.startswith(letter):
                    lines += _told(finding)
        return "\n".join([*lines, "", self.verdict()]).lstrip("\n")

    def verdict(self) -> str:
        """The end of it, in one or two sentences."""
        count = {kind: len(self.numbers(kind)) for kind in _MARKS}
        seen = f"{count['pass']} rules kept, {count['not seen']} not seen"
        if count["advice"]:
            seen += f", {count['advice']} could be better ({', '.join(self.numbers('advice'))})"
        if self.failed:
            return (
                f"The board does not speak the protocol: {', '.join(self.numbers('fail'))}. {seen}."
            )
        return f"Nothing is wrong. {seen}."


def _told(finding: Finding) -> list[str]:
    rule = finding.rule
    head = f"  {_MARKS[finding.verdict]:<7}{rule.number:<5}{rule.title}"
    if finding.verdict == "pass":
        return [head + (f" [{finding.received}]" if finding.received else "")]
    if finding.verdict == "not seen":
        return [head, *_wrapped("not seen:", finding.received)]
    return [
        head,
        *_wrapped("received", finding.received),
        *_wrapped("right", rule.right),
        *_wrapped("change", finding.change or rule.change),
    ]


def _wrapped(label: str, text: str) -> list[str]:
    """The text beside its label, a received line never broken."""
    return wrap(
        text,
        width=_WIDTH,
        initial_indent=f"{'':14}{label:<10}",
        subsequent_indent=" " * 24,
        break_long_words=False,
        break_on_hyphens=False,
    )


def judge(
    pieces: Iterable[Piece], sent: Sequence[Sent] = (), stalls: Sequence[Stall] = ()
) -> Report:
    """Judge what a board sent.

    Args:
        pieces: (host time in seconds or None, bytes) in the order of arrival; cut anywhere. A
            last empty piece says until when was listened.
        sent: What the host said meanwhile, by the same clock.
        stalls: When the host itself did not come to read: silence then is not the board's.

    A rule for which nothing speaks is `not seen`, never `pass`.
    """
    told = tell(hear(pieces, sent, stalls))
    findings = {finding.rule.number: finding for finding in _findings(told)}
    return Report(
        findings=tuple(findings[number] for number in RULES),
        hello=told.hello,
        bytes=told.heard.bytes,
        samples=told.samples,
        bad_lines=len(told.heard.faults),
    )


def _findings(told: Told) -> Iterable[Finding]:
    yield from line_findings(told)
    yield from sample_findings(told)
    yield from hello_findings(told)
    yield from start_findings(told)
    yield from pace_findings(told)
    yield from answer_findings(told)
