"""The reference detectors, and the bench's command on a small effort.

Not collected with the tests, since it needs the `bench` extra: run `pytest` on this file by name.
"""

from __future__ import annotations

import numpy as np
import pytest
from bench.diagnosis import __main__ as command
from bench.diagnosis import references
from river.drift import PageHinkley


def test_page_hinkley_without_a_loop_is_the_library_s():
    y = np.random.default_rng(2).normal(0.0, 0.01, 4000)
    y[2500:] -= 0.02
    theirs = PageHinkley(
        threshold=1e9, delta=references.PH_TOLERANCE, alpha=references.PH_ALPHA, min_instances=1
    )
    found = []
    for value in y.tolist():
        theirs.update(value)
        found.append(
            max(
                theirs._sum_increase - theirs._min_increase,
                theirs._max_decrease - theirs._sum_decrease,
            )
        )
    assert references.page_hinkley(y) == pytest.approx(found, abs=1e-9)


def test_limits_leave_as_many_exceedances_as_are_due():
    results = [
        {
            "hours": 500.0,
            "page_hinkley": [5.0, 3.0, 1.0],
            "moving_average": [0.5, 0.4, 0.2],
            "adwin": [9, 4, 3, 2, 1, 0, 0],
        },
        {
            "hours": 500.0,
            "page_hinkley": [4.0, 2.0, 1.0],
            "moving_average": [0.3, 0.2, 0.1],
            "adwin": [9, 4, 3, 0, 0, 0, 0],
        },
    ]
    threshold, delta, limit = references.limits(results, 500.0)
    assert 3.0 < threshold < 4.0
    assert 0.3 < limit < 0.4
    assert delta == references.ADWIN_DELTAS[3]
    judged = [{"page_hinkley": [4.5, 2.0], "adwin": [2], "moving_average": [0.36, 0.1]}]
    assert references.false_alarms(judged, (threshold, delta, limit)) == [1, 2, 1]


@pytest.mark.slow
@pytest.mark.timeout(600)
def test_the_command_measures_everything_and_goes_on_where_it_stopped(
    tmp_path, capsys, monkeypatch
):
    monkeypatch.setattr(
        command.Effort,
        "quick",
        staticmethod(lambda: command.Effort(1.0, 1.0, 1.0, 2, 1, 2, 0)),
    )
    out = tmp_path / "table.md"
    options = ["--quick", "--cache", str(tmp_path), "--out", str(out)]
    assert command.main(options) == 0
    text = out.read_text()
    for section in ("Delay", "Alerts where nothing", "must not look like a tip", "calls it"):
        assert section in text
    assert "seeds from 1 on" in text and "seeds from 100001 on" in text
    assert text.count("| one tip |") >= 9
    capsys.readouterr()
    assert command.main(options) == 0
    again = capsys.readouterr()
    assert " 0 new" in again.err and not [
        line for line in again.err.splitlines() if "new" in line and " 0 new" not in line
    ]
    assert out.read_text() == text
