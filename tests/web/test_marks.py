"""What is said from a phone lies in the daemon's letterbox before the answer goes out."""

from __future__ import annotations

import json
import time

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from stored import store_scenario
from support.pages import loopback

from flowlog.daemon.inbox import understand, waiting
from flowlog.daemon.left_seen import understand_seen, waiting_seen
from flowlog.store.archive import Archive


@pytest.fixture
def client(tmp_path):
    with loopback(tmp_path) as found:
        yield found


def test_a_stop_begins_with_a_name_and_its_known_area(client, tmp_path):
    answer = client.post(
        "/api/live/stop", json={"kind": "begin", "name": " Mill Lane 9 ", "area": "10000 ft2"}
    )
    assert (answer.status_code, answer.json()) == (202, {"left": True, "daemon": False})
    (path,) = waiting(tmp_path)
    mark = understand(path)
    assert (mark.what, mark.kind, mark.name) == ("stop", "begin", "Mill Lane 9")
    assert mark.area_m2 == pytest.approx(929.0304)
    assert abs(mark.wall_us / 1e6 - time.time()) < 60


def test_an_area_alone_can_be_said_for_the_stop_in_work(client, tmp_path):
    assert client.post("/api/live/stop", json={"kind": "name", "area": "500 m2"}).status_code == 202
    mark = understand(waiting(tmp_path)[0])
    assert (mark.kind, mark.name, mark.area_m2) == ("name", None, 500.0)


def test_a_stop_ends_and_the_tank_is_filled(client, tmp_path):
    assert client.post("/api/live/stop", json={"kind": "end"}).status_code == 202
    assert client.post("/api/live/fill", json={"volume": "60 gal"}).status_code == 202
    marks = [understand(path) for path in waiting(tmp_path)]
    assert [(mark.what, mark.kind) for mark in marks] == [("stop", "end"), ("fill", "begin")]
    assert marks[1].volume_m3 == pytest.approx(0.2271247)


@pytest.mark.parametrize(
    "body",
    [
        {},
        {"kind": "start"},
        {"kind": None},
        {"kind": "begin", "name": ""},
        {"kind": "begin", "name": "x" * 121},
        {"kind": "begin", "name": "a\nb"},
        {"kind": "begin", "name": "\ud800"},
        {"kind": "begin", "name": 7},
        {"kind": "begin", "area": 7},
        {"kind": "begin", "area": "7"},
        {"kind": "begin", "area": "7 psi"},
        {"kind": "begin", "area": "-7 m2"},
        {"kind": "begin", "area": "9e99 m2"},
        {"kind": "begin", "area": "0 m2"},
        {"kind": "end", "name": "x"},
        {"kind": "name"},
        {"kind": "begin", "more": 1},
    ],
)
def test_what_is_no_mark_is_refused_with_a_sentence_and_nothing_is_left(client, tmp_path, body):
    answer = client.post(
        "/api/live/stop", content=json.dumps(body), headers={"Content-Type": "application/json"}
    )
    assert answer.status_code == 400
    assert answer.json()["error"].endswith(".")
    assert not (tmp_path / "inbox").exists()


@pytest.mark.parametrize("text", ["", "[]", "null", "{", '{"kind": NaN}', "[" * 5000, '"begin"'])
def test_what_is_no_object_is_refused(client, text):
    answer = client.post(
        "/api/live/stop", content=text, headers={"Content-Type": "application/json"}
    )
    assert answer.status_code == 400


@settings(
    max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None
)
@given(
    kind=st.sampled_from(["begin", "end", "name"]),
    name=st.none() | st.text(max_size=130),
    area=st.none() | st.floats(0, 1e8).map(lambda value: f"{value:g} ft2") | st.text(max_size=10),
)
def test_whatever_is_taken_the_daemon_understands(client, tmp_path, kind, name, area):
    body = {"kind": kind, "name": name, "area": area}
    answer = client.post(
        "/api/live/stop", content=json.dumps(body), headers={"Content-Type": "application/json"}
    )
    assert answer.status_code in {202, 400}
    for path in waiting(tmp_path):
        understand(path)
        path.unlink()


def test_a_disk_that_cannot_be_written_is_said_without_its_place(tmp_path):
    (tmp_path / "inbox").write_text("no folder")
    with loopback(tmp_path) as client:
        answer = client.post("/api/live/stop", json={"kind": "begin"})
    assert answer.status_code == 503
    assert str(tmp_path) not in answer.text


def test_marks_without_end_are_refused_while_no_daemon_takes_them(client, tmp_path):
    (tmp_path / "inbox").mkdir()
    for number in range(201):
        (tmp_path / "inbox" / f"{number}.json").write_text("{}")
    assert client.post("/api/live/stop", json={"kind": "begin"}).status_code == 503


def test_an_open_alert_can_be_seen_and_no_other(tmp_path):
    store_scenario(tmp_path, ended=False)
    with Archive.open(tmp_path) as archive:
        route = archive.routes()[0]
        open_alerts = {event.alert for event in archive.open_alerts(route.id)}
    with loopback(tmp_path) as client:
        alerts = client.get("/api/live").json()["alerts"]
        assert {alert["id"] for alert in alerts} == {f"{route.uid}:{name}" for name in open_alerts}
        for wrong in ("", "x", f"{route.uid}:nothing.0.1", None, 7):
            answer = client.post("/api/live/acknowledge", json={"alert": wrong})
            assert answer.status_code == 404
        assert not waiting_seen(tmp_path)
        for alert in alerts:
            answer = client.post("/api/live/acknowledge", json={"alert": alert["id"]})
            assert answer.status_code == 202
        said = [understand_seen(path) for path in waiting_seen(tmp_path)]
    assert {(row.route_uid, row.alert) for row in said} == {(route.uid, n) for n in open_alerts}
