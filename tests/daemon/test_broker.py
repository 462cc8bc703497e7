"""The daemon as a process, with a real broker that goes away."""

from __future__ import annotations

import time

import pytest

from flowlog.publish.messages import schema
from flowlog.simulator.plan import Fault

pytestmark = pytest.mark.broker


@pytest.fixture
def rig_with(tmp_path, rig_file):
    def make(port: int):
        path = tmp_path / "with-broker.toml"
        path.write_text(rig_file.read_text() + f'\n[broker]\nhost = "127.0.0.1"\nport = {port}\n')
        return path

    return make


@pytest.mark.slow
def test_alerts_of_an_outage_and_a_killed_daemon_reach_the_broker_once_and_in_order(
    board, daemon, make_scenario, wait_for, start_broker, listen, rig_with
):
    import jsonschema

    broker = start_broker()
    ear = listen(broker)
    rig = rig_with(broker.port)
    board(
        make_scenario(
            6, 60, 5, Fault("tip blocked", 40.0, tip=3), Fault("tip blocked", 200.0, tip=6)
        ),
        speed=25,
    ).start()
    first = daemon(rig=rig)
    wait_for(lambda: ear.payloads("reading"))
    wait_for(lambda: any(p["online"] for p in ear.payloads("status")))
    broker.kill()
    wait_for(lambda: first.rows("SELECT 1 FROM events WHERE code = 'tip_blocked'"))
    held = first.count("outbox")
    assert held > 0
    first.kill()
    second = daemon("--until-idle", "3", rig=rig)
    wait_for(lambda: second.count("runs") == 2)
    broker.start()
    assert second.process.wait(60) == 0, second.text()
    wait_for(lambda: not second.rows("SELECT 1 FROM events") or ear.payloads("alert"))
    stored = [uid for (uid,) in second.rows("SELECT uid FROM events ORDER BY id")]
    wait_for(lambda: {p["id"] for p in ear.payloads("alert")} >= set(stored), 20)
    heard = list(dict.fromkeys(p["id"] for p in ear.payloads("alert")))
    assert heard == stored
    wait_for(lambda: [p["change"] for p in ear.payloads("route")][-1:] == ["ended"])
    # QoS 1: a message whose acknowledgement was not stored before the kill comes once more.
    routes = {p["id"]: p["change"] for p in ear.payloads("route")}
    assert list(routes.values()) == ["began", "ended"]
    wait_for(lambda: not ear.payloads("status")[-1]["online"])
    assert ear.payloads("status")[-1]["why"] == "stopped"
    for kind in ("status", "reading", "alert", "route"):
        for payload in ear.payloads(kind):
            jsonschema.validate(payload, schema(kind))


def test_a_broker_that_hangs_does_not_hold_up_the_stop(
    board, daemon, make_scenario, wait_for, start_broker, rig_with
):
    import os
    import signal

    broker = start_broker()
    source = board(make_scenario(4, 60, 5, Fault("tip blocked", 40.0, tip=3))).start()
    running = daemon(rig=rig_with(broker.port))
    wait_for(lambda: running.count("readings") > 10)
    os.kill(broker.process.pid, signal.SIGSTOP)
    try:
        wait_for(lambda: running.rows("SELECT 1 FROM events WHERE code = 'tip_blocked'"))
        time.sleep(0.5)
        assert running.stop() < 5.0
    finally:
        os.kill(broker.process.pid, signal.SIGCONT)
    assert source.heard
