"""The job as a whole, every part a process of its own, a real broker between them.

simulator -> pseudo-terminal -> flowlog run -> SQLite, and Mosquitto with a password and an access
list -> subscriber. The broker is killed and comes back; the tip clogs while it is away.
"""

from __future__ import annotations

import json
import os
import signal
import sqlite3
import subprocess
import sys
import time
from pathlib import Path

import jsonschema
import pytest

from flowlog.simulator.scenario import find_scenario

SPEED = 20
RIG = (find_scenario("morning").parent / "rig.toml").read_text(encoding="utf-8")
ACL = """user rig
topic write flowlog/1/demo-cart/#
user office
topic read flowlog/#
"""
SCHEMAS = Path(__import__("flowlog.publish").publish.__file__).parent / "schemas"


def flowlog(*words, **options) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-m", "flowlog", *map(str, words)],
        stdin=subprocess.DEVNULL,
        text=True,
        **options,
    )


def wait_until(reached, seconds: float, what: str):
    end = time.monotonic() + seconds
    while not (value := reached()):
        assert time.monotonic() < end, f"waited {seconds} s for {what}"
        time.sleep(0.1)
    return value


@pytest.mark.broker
@pytest.mark.slow
@pytest.mark.timeout(180)
def test_alerts_arrive_in_order_though_the_broker_dies_while_the_tip_clogs(
    start_broker, listen, tmp_path
):
    broker = start_broker(users={"rig": "secret-of-the-rig", "office": "other"}, acl=ACL)
    office = listen(broker, user="office")
    rig = tmp_path / "rig.toml"
    rig.write_text(RIG + f'\n[broker]\nhost = "127.0.0.1"\nport = {broker.port}\nuser = "rig"\n')
    port, data, truth = tmp_path / "board", tmp_path / "data", tmp_path / "truth.json"
    log = (tmp_path / "log").open("w+", encoding="utf-8")
    board = flowlog(
        "simulate", "morning", "--to", "pty", "--link", port, "--pace", SPEED, "--wait",
        "--truth", truth, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    daemon = flowlog(
        "run", rig, "--data", data, "--port", port, "--until-idle", 6,
        stdout=log, stderr=log,
        env={**os.environ, "FLOWLOG_BROKER_PASSWORD": "secret-of-the-rig"},
    )  # fmt: skip
    try:
        office.wait(lambda: len(office.payloads("reading")) > 50, 30)
        assert office.payloads("status")[-1]["online"] is True
        # The tip clogs at 490 s of the route, 24 s from the start: the broker is dead by then.
        database = data / "flowlog.db"

        def count(query: str) -> int:
            with sqlite3.connect(f"file:{database}?mode=ro", uri=True) as read:
                return read.execute(query).fetchone()[0]

        broker.kill()
        wait_until(
            lambda: count("SELECT count(*) FROM events WHERE code = 'tip_blocked'"),
            40,
            "the alert in the store",
        )
        before = len(office.payloads("alert"))
        assert count("SELECT count(*) FROM outbox") > 0
        time.sleep(3)
        broker.start()
        office.wait(lambda: len(office.payloads("alert")) > before, 40)
        assert daemon.wait(60) == 0
    finally:
        for process in (board, daemon):
            if process.poll() is None:
                process.send_signal(signal.SIGKILL)
                process.wait(10)

    with sqlite3.connect(f"file:{data / 'flowlog.db'}?mode=ro", uri=True) as read:
        stored = [
            tuple(row)
            for row in read.execute(
                "SELECT alert, change FROM events WHERE source = 'monitor' ORDER BY rowid"
            )
        ]
        volume = read.execute("SELECT sum(volume_m3) FROM readings").fetchone()[0]
        assert read.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
        assert read.execute("SELECT count(*) FROM outbox").fetchone()[0] == 0
    alerts = office.payloads("alert")
    first_seen = list({message["id"]: message for message in alerts}.values())
    # In the order of their numbers at first arrival, and none of the store's is missing.
    assert [m["number"] for m in first_seen] == sorted(m["number"] for m in first_seen)
    told = [(m["alert"].split("/")[-1], m["change"]) for m in first_seen]
    for alert, change in stored:
        assert any(name.endswith(alert) and change == how for name, how in told), (alert, told)
    assert any(m["code"] == "tip_blocked" for m in first_seen)
    for what in ("status", "reading", "alert", "route"):
        schema = json.loads((SCHEMAS / f"{what}.json").read_text(encoding="utf-8"))
        messages = office.payloads(what)
        assert messages or what == "route"
        for message in messages:
            jsonschema.validate(message, schema)
    assert office.payloads("status")[-1]["online"] is False
    assert volume == pytest.approx(json.loads(truth.read_text())["volume_m3"], rel=1e-3)
    log.seek(0)
    assert "secret-of-the-rig" not in log.read()
