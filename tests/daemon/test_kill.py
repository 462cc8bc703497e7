"""Power cuts: the daemon is killed at random moments of a route and starts again each time."""

from __future__ import annotations

import random
import time

import pytest

from flowlog.store.archive import Archive

KILLS = 20
LOST_S = 1.0
"""The promise: at most the last second. Checked in host time, since that is what a cut takes."""
START_S = 0.4
"""Beyond that, scheduling of three processes on a loaded test machine."""


@pytest.mark.slow
@pytest.mark.timeout(240)
def test_twenty_kills_on_a_route_lose_at_most_a_second_each_and_no_volume(
    board, daemon, make_scenario, wait_for, true_pulses
):
    """The board's power is cut never, the computer's twenty times: counts are cumulative."""
    rng = random.Random(5)
    speed = 10.0
    # Long enough for a busy machine, on which twenty starts take twice as long; what is left of it
    # goes faster at the end.
    scenario = make_scenario(20, 50, 10)
    source = board(scenario, speed=speed).start()
    worst_s = 0.0
    for kill in range(KILLS):
        running = daemon()
        # The board does not wait: while nobody listens its lines are lost, as they would be.
        have = running.count("raw_tail")
        wait_for(lambda have=have, it=running: it.count("raw_tail") != have, 30)
        time.sleep(rng.uniform(0.1, 1.5))
        source.hold()
        at_s = source.board.now_s
        running.kill()
        (ok,) = running.rows("PRAGMA integrity_check")[0]
        assert ok == "ok", f"after kill {kill}"
        with Archive.open(running.folder) as archive:
            (route,) = archive.routes()
            raw = archive.raw(route.id)
            latest = archive.latest()
        seqs = raw.column("seq")
        assert (seqs[1:] > seqs[:-1]).all(), "nothing twice, nothing out of order"
        lost_raw_s = at_s - float(source.board.run.t_s[int(seqs[-1])])
        assert latest is not None
        # A reading is stored in one transaction with its samples: only the open second is left.
        assert (seqs > latest.reading.at.seq).sum() <= 20, f"kill {kill}"
        worst_s = max(worst_s, lost_raw_s / speed)
        assert lost_raw_s / speed <= LOST_S + START_S, f"kill {kill}"
        source.go_on()
        if source.done:
            pytest.fail(f"the route was over at kill {kill}: make it longer")
    print(f"worst loss of raw samples {worst_s:.2f} s of host time in {KILLS} kills")
    source.speed = 40.0
    last = daemon("--until-idle", "2")
    assert last.process.wait(120) == 0, last.text()
    with Archive.open(last.folder) as archive:
        (route,) = archive.routes()
        readings = archive.readings(route.id)
        events = archive.events(route.id)
        assert len(archive.runs()) == KILLS + 1
    keys = list(zip(readings["segment"], readings["seq"], strict=True))
    assert len(set(keys)) == len(keys)
    assert int(readings["pulses"].sum()) == pytest.approx(true_pulses(scenario), abs=2)
    true_m3 = source.board.run.truth.total_volume_m3
    assert float(readings["volume_m3"].sum()) == pytest.approx(true_m3, rel=1e-3)
    assert not {e.event.code for e in events} & {"tip_blocked", "boom_leak", "board_reset"}
    uids = [row.uid for row in events]
    assert len(set(uids)) == len(uids)
