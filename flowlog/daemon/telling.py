"""Events and conditions in words, for the log and for the daemon's own alerts."""

from __future__ import annotations

import logging
from collections.abc import Iterator

from flowlog.daemon.codes import title_of, urgency_of
from flowlog.daemon.health import FRESH_US, Facts, Health
from flowlog.daemon.logs import BURSTS
from flowlog.monitor.outputs import Event

log = logging.getLogger(__name__)

Condition = tuple[str, bool, str, str]
"""Code, whether it holds now, the sentence that opens its alert, and the one that clears it."""


def conditions(facts: Facts, health: Health, now_us: int) -> Iterator[Condition]:
    """What of the daemon's own concerns holds at a moment; pure."""
    link, store, broker = health.link, health.store, health.broker
    heard_us = max(facts.sample_us or 0, facts.port_us)
    unreadable = facts.port_open and link.state == "fresh" and now_us - heard_us > FRESH_US
    failing = bool(facts.store_fault) or (store.state != "fresh" and not facts.disk_low)
    for code, holds, text, cleared in (
        (
            "port_lost",
            link.state == "absent",
            facts.port_fault or link.detail,
            f"port {facts.port} is back",
        ),
        ("data_silent", link.state == "stale", link.detail, "the board sends again"),
        (
            "data_unreadable",
            unreadable,
            f"something comes from {facts.port} and is no sample of a board",
            "samples arrive",
        ),
        ("store_failing", failing, store.detail, "readings are written again"),
        ("disk_low", facts.disk_low, store.detail, "there is space on the disk again"),
        ("broker_away", broker.state == "absent", broker.detail, "the broker is back"),
    ):
        yield code, holds, sentence(text), sentence(cleared)


def log_event(event: Event) -> None:
    """One line for one event."""
    title = title_of(event.code)
    if event.change in ("opened", "grew"):
        check = f" Check: {event.checks[0]}" if event.checks else ""
        level = logging.ERROR if urgency_of(event.code) == "stop" else logging.WARNING
        log.log(level, "%s: %s%s", title, event.text, check)
    elif event.change == "cleared":
        log.info("%s: over. %s", title, event.text)
    else:
        # Repeats are known by what stands before the arguments, so the title must be in it.
        log.info(f"{title}: %s", event.text, extra=BURSTS)


def sentence(text: str) -> str:
    """A clause as a sentence."""
    text = text[:1].upper() + text[1:]
    return text if text.endswith(".") else text + "."


def set_by(step_us: int) -> str:
    """`forward by 3.0 years`: how far a clock was set."""
    seconds = abs(step_us) / 1e6
    where = "forward" if step_us > 0 else "back"
    for size, unit in ((86_400 * 365.25, "years"), (86_400, "days"), (3600, "hours"), (60, "min")):
        if seconds >= 2 * size:
            return f"{where} by {seconds / size:.1f} {unit}"
    return f"{where} by {seconds:.1f} s"
