"""From what was measured to tables in markdown."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
from bench.diagnosis.bounds import Autoregression, asymptotic_s, exact_s
from bench.diagnosis.classes import (
    CONSEQUENCES,
    IS_TIP,
    RIGHT,
    TIP_CODES,
    code_wanted,
    label_of,
    onset_of,
    verdict,
)
from bench.diagnosis.scenarios import CASES, GAMMA_H

Result = dict[str, Any]


def table(head: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    lines = ["| " + " | ".join(head) + " |", "|" + "---|" * len(head)]
    lines += ["| " + " | ".join(str(cell) for cell in row) + " |" for row in rows]
    return "\n".join(lines)


def quantiles(values: Sequence[float | None]) -> tuple[float, float]:
    """Median and 90th percentile; what was not found counts as infinitely late."""
    found = np.array([np.inf if value is None else value for value in values])
    middle, most = np.percentile(found, [50, 90], method="higher")
    return float(middle), float(most)


def _pair(values: Sequence[float | None]) -> str:
    return "/".join("–" if np.isinf(v) else f"{v:.1f}" for v in quantiles(values))


def usable(trials: Sequence[Result]) -> list[Result]:
    """Trials in which nothing had been said before the onset."""
    return [trial for trial in trials if not trial["early"]]


def delays_of(trials: Sequence[Result], name: str) -> list[float | None]:
    rows = (onset_of(trial["said"][name], code_wanted(name)) for trial in usable(trials))
    return [row[2] if row else None for row in rows]


def false_alarms(name: str, tips: int, routes: Sequence[Result]) -> list[object]:
    """A row: how many alarms in how many hours, by code."""
    hours = sum(route["spraying_s"] for route in routes) / 3600.0
    blind = sum(route["blind_s"] for route in routes) / 3600.0
    codes = Counter(said[0] for route in routes for said in route["said"])
    levels = [abs(route["level"]) * 100.0 for route in routes if route["level"] is not None]
    told = ", ".join(f"{code} {count}" for code, count in codes.most_common()) or "none"
    total = sum(codes.values())
    between = f"{(hours - blind) / total:.0f} h" if total else f"> {hours:.0f} h"
    level = f"{np.percentile(levels, 95):.2f} %" if levels else "–"
    return [name, tips, f"{hours:.0f}", f"{blind:.1f}", total, between, told, level]


FALSE_HEAD = (
    "noise",
    "N",
    "spraying h",
    "of these with a boom alert open",
    "alarms",
    "one in",
    "by code",
    "level error p95",
)


DELAY_HEAD = (
    "N",
    "fault",
    "shift",
    "settled",
    "random",
    "asymptotic bound",
    "1.5 x + 2.0 s kept (median, p90)",
    "exact bound",
    "Page-Hinkley",
    "ADWIN",
    "flow MA 5 s",
)


def delay_rows(
    tips: int,
    trials: dict[str, Sequence[Result]],
    references: Sequence[Result],
    noise: Autoregression,
) -> list[list[object]]:
    """Rows of the table of delays for one number of tips."""
    rows = []
    gamma_s, density_s = GAMMA_H * 3600.0, noise.density_s(0.1)
    for case in CASES.values():
        if not case.delays:
            continue
        shift = case.shift(tips)
        settled = delays_of(trials["settled"], case.name)
        bound_s = asymptotic_s(shift, density_s, gamma_s)
        limit_s = 1.5 * bound_s + 2.0
        kept = ", ".join("yes" if q <= limit_s else "**no**" for q in quantiles(settled))
        exact = "–"
        if "over" not in case.name:
            pair = [exact_s(shift, noise, gamma_s, share) for share in (0.5, 0.9)]
            exact = "/".join(f"{value:.1f}" for value in pair)
        others = [
            _pair([result[case.name]["delays"][which] for result in references])
            for which in range(3)
        ]
        rows.append(
            [
                tips,
                case.name,
                f"{shift:+.4f}",
                f"**{_pair(settled)}**",
                _pair(delays_of(trials["random"], case.name)),
                f"{bound_s:.2f}",
                kept,
                exact,
                *others,
            ]
        )
    return rows


OTHER_HEAD = ("N", "fault", "first alert of any kind", "first of the right name", "latest", "never")


def other_rows(tips: int, trials: Sequence[Result]) -> list[list[object]]:
    """Delays (s) of what is not in the table of delays; silence is right for the regulator."""
    rows: list[list[object]] = []
    for case in CASES.values():
        if case.delays or "nothing" in RIGHT[case.name]:
            continue
        told = [trial["said"][case.name] for trial in usable(trials)]
        opened = [[row for row in rows if row[1] == "opened" and row[2] >= 0.0] for rows in told]
        named = [onset_of(rows, code_wanted(case.name)) for rows in told]
        found = [row[2] for row in named if row]
        rows.append(
            [
                tips,
                case.name,
                _pair([rows[0][2] if rows else None for rows in opened]),
                _pair([row[2] if row else None for row in named]),
                f"{max(found):.1f}" if found else "–",
                f"{100.0 * (1.0 - len(found) / len(named)):.1f} %",
            ]
        )
    return rows


ONSET_HEAD = ("N", "fault", "monitor at its alarm", "ruptures, offline", "in its 95 % interval")


def onset_rows(
    tips: int, trials: Sequence[Result], references: Sequence[Result]
) -> list[list[object]]:
    rows = []
    for case in CASES.values():
        if not case.delays:
            continue
        found = [onset_of(t["said"][case.name], code_wanted(case.name)) for t in usable(trials)]
        ours = [abs(row[3]) for row in found if row]
        theirs = [abs(result[case.name]["onset"]) for result in references]
        held = [_holds_onset(row) for row in found if row and "since_earlier_s" in row[8]]
        within = f"{100.0 * float(np.mean(held)):.0f} % of {len(held)}" if held else "–"
        rows.append([tips, case.name, _pair(ours) if ours else "–", _pair(theirs), within])
    return rows


def _holds_onset(row: Sequence[Any]) -> bool:
    """Does the interval of the onset hold the true one, at 0 s?"""
    since, details = row[3], row[8]
    return bool(since - details["since_earlier_s"] <= 0.0 <= since + details["since_later_s"])


def confusion(trials: Sequence[Result], wait_s: float) -> tuple[str, list[str]]:
    """Table of true against said in per cent, and the shares that goals are stated for."""
    said: dict[str, Counter[str]] = defaultdict(Counter)
    for trial in usable(trials):
        for name, rows in trial["said"].items():
            said[name][verdict(rows, wait_s)[0]] += 1
    labels = sorted({label for counts in said.values() for label in counts})
    rows = []
    for name in RIGHT:
        counts = said[name]
        total = max(1, sum(counts.values()))
        cells = []
        for label in labels:
            text = f"{100.0 * counts[label] / total:.1f}" if counts[label] else ""
            cells.append(f"**{text}**" if text and label in RIGHT[name] else text)
        rows.append([name, *cells])
    right = {
        name: sum(said[name][label] for label in RIGHT[name]) / max(1, said[name].total())
        for name in RIGHT
    }
    tip_right = total = 0
    for name, counts in said.items():
        for label, count in counts.items():
            is_tip = label.split(" ")[0] in TIP_CODES
            tip_right += count * (is_tip == (name in IS_TIP))
            total += count
    whole = [right[name] for name in ("one tip", "two tips")]
    shares = [
        f"mean share right {100.0 * float(np.mean(list(right.values()))):.1f} %",
        f"tip or not a tip {100.0 * tip_right / max(1, total):.2f} %",
        f"whole tips counted right {100.0 * float(np.mean(whole)):.1f} %",
        f"alerts naming a cause, for each fault that had one: {_alerts(trials):.2f}",
        "worst class " + min(right, key=lambda name: right[name]),
    ]
    return table(["true \\ said, %", *labels], rows), shares


def _alerts(trials: Sequence[Result]) -> float:
    """How many alerts one fault makes: one is right, opened again counts again."""
    counts = [
        sum(row[1] == "opened" and row[0] not in CONSEQUENCES for row in rows)
        for trial in usable(trials)
        for rows in trial["said"].values()
    ]
    return float(np.mean([count for count in counts if count] or [0.0]))


def by_pump(trials: Sequence[Result], wait_s: float) -> list[list[object]]:
    """Mean share right for each type of pump."""
    right: dict[str, list[bool]] = defaultdict(list)
    for trial in usable(trials):
        for name, rows in trial["said"].items():
            right[trial["pump"]].append(verdict(rows, wait_s)[0] in RIGHT[name])
    return [[pump, f"{100.0 * float(np.mean(hits)):.1f} %"] for pump, hits in right.items()]


INTERVAL_HEAD = ("N", "fault", "at the alarm", "later", "median half width later", "sizes")


def interval_rows(tips: int, trials: Sequence[Result], wait_s: float) -> list[list[object]]:
    """Share of the 95 % intervals that hold the truth, at the alarm and after `wait_s`."""
    rows = []
    for case in CASES.values():
        truth = case.tips if case.tips is not None else case.percent
        if truth is None or not case.delays:
            continue
        first, last, widths = [], [], []
        for trial in usable(trials):
            told = trial["said"][case.name]
            opened = onset_of(told, code_wanted(case.name))
            newest = verdict(told, wait_s)[1]
            if opened is not None and opened[5] is not None:
                first.append(opened[5] <= truth <= opened[6])
            if newest is not None and newest[0] in code_wanted(case.name) and newest[5] is not None:
                last.append(newest[5] <= truth <= newest[6])
                widths.append(0.5 * (newest[6] - newest[5]))
        if last:
            rows.append(
                [
                    tips,
                    case.name,
                    f"{100.0 * np.mean(first):.1f} %",
                    f"{100.0 * np.mean(last):.1f} %",
                    f"{np.median(widths):.2f}",
                    len(last),
                ]
            )
    return rows


def probabilities(trials: Sequence[Result], wait_s: float) -> list[list[object]]:
    """What events say of their own probability against how often they were right.

    An event that states one carries it in its details as `probability`.
    """
    bins: dict[int, list[tuple[float, bool]]] = defaultdict(list)
    for trial in usable(trials):
        for name, rows in trial["said"].items():
            label, row = verdict(rows, wait_s)
            if row is None or "probability" not in row[8]:
                continue
            stated = row[8]["probability"]
            wanted = {right.split(" ")[0] for right in RIGHT[name]}
            bins[min(9, int(stated * 10))].append((stated, label.split(" ")[0] in wanted))
    return [
        [
            f"{number / 10:.1f} to {(number + 1) / 10:.1f}",
            f"{np.mean([p for p, _ in pairs]):.3f}",
            f"{np.mean([hit for _, hit in pairs]):.3f}",
            len(pairs),
        ]
        for number, pairs in sorted(bins.items())
    ]


def moves(name: str, results: Sequence[Result]) -> list[object]:
    """Tip alarms, and everything else that was said, in routes that should raise none."""
    codes = Counter(code for result in results for code in result["codes"])
    tip = sum(count for code, count in codes.items() if code in (*TIP_CODES, "boom_leak"))
    count = sum(result.get("moves", 1) for result in results)
    return [name, count, tip, ", ".join(f"{c} {n}" for c, n in codes.most_common()) or "none"]


def wear_row(tips: int, results: Sequence[Result]) -> list[object]:
    first = [
        next((row for row in r["said"] if row[1] in ("opened", "noted")), None) for r in results
    ]
    hours = [row[2] / 3600.0 if row else None for row in first]
    told = Counter(label_of(row) if row else "nothing" for row in first)
    return [tips, _pair(hours), ", ".join(f"{label} {n}" for label, n in told.most_common())]
