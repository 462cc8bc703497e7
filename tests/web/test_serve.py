"""`flowlog serve` as it runs on a rig: a process of its own beside a real daemon and a board."""

from __future__ import annotations

import json
import re
import socket
import time

import httpx2
import pytest
from click.testing import CliRunner
from stored import store_scenario
from support.live_rig import LiveRig
from support.pages import RIG_FILE, Server, Stream, wait_for

from flowlog.cli import main
from flowlog.web import keys, qr


@pytest.fixture
def server(tmp_path):
    made: list[Server] = []

    def start(*options: str, folder=None) -> Server:
        made.append(Server(folder or tmp_path / "data", *options))
        made[-1].wait_until_open()
        return made[-1]

    yield start
    for one in made:
        one.close()


@pytest.fixture
def live_rig(tmp_path):
    # The tip clogs 60 s after the first stop has taught the boom: long before this test ends.
    rig = LiveRig(tmp_path, clog_s=420, clean_s=3000)
    yield rig
    rig.end()


@pytest.fixture
def stream():
    made: list[Stream] = []

    def open_(url: str, **headers: str) -> Stream:
        made.append(Stream(url, **headers))
        return made[-1]

    yield open_
    for one in made:
        one.close()


def states(stream: Stream) -> list[tuple[float, dict]]:
    found = [(at, json.loads(data)) for at, kind, data, _ in stream.events if kind == "state"]
    return [(at, state) for at, state in found if "error" not in state]


@pytest.mark.slow
def test_a_route_is_followed_a_clogged_tip_told_seen_and_the_daemons_end_noticed(live_rig, stream):
    live_rig.start(pace=20)
    phone, other = stream(live_rig.address), stream(live_rig.address)

    def stored() -> bool:
        opened = "SELECT 1 FROM events WHERE code = 'tip_blocked' AND change = 'opened'"
        return bool(live_rig.query(opened))

    def told(which: Stream) -> tuple[float, dict] | None:
        for at, state in reversed(states(which)):
            for alert in state["alerts"]:
                if alert["code"] == "tip_blocked":
                    return at, alert
        return None

    wait_for(stored, 90)
    stored_at = time.monotonic()
    for one in (phone, other):
        wait_for(lambda one=one: told(one), 10)
    first_told = [
        next(at for at, s in states(one) if any(a["code"] == "tip_blocked" for a in s["alerts"]))
        for one in (phone, other)
    ]
    assert max(first_told) - stored_at < 2.0

    _, alert = told(phone)
    assert not alert["acknowledged"]
    answer = httpx2.post(
        f"{live_rig.address}/api/live/acknowledge", json={"alert": alert["id"]}, timeout=10
    )
    assert answer.json() == {"left": True, "daemon": True}
    # The other phone learns of it through the daemon and its store.
    wait_for(lambda: told(other)[1]["acknowledged"], 10)

    answer = httpx2.post(
        f"{live_rig.address}/api/live/stop",
        json={"kind": "begin", "name": "Mill Lane 9", "area": "12000 ft2"},
        timeout=10,
    )
    assert answer.status_code == 202
    wait_for(lambda: (states(other)[-1][1]["mark"] or {}).get("name") == "Mill Lane 9", 10)

    ended = time.monotonic()
    live_rig.kill("daemon")
    wait_for(lambda: not states(phone)[-1][1]["daemon"], 10)
    assert time.monotonic() - ended < 3.0
    again = time.monotonic()
    live_rig.start_daemon()
    wait_for(lambda: states(phone)[-1][1]["daemon"], 20)
    # The same stream, without a new connection, goes on with new readings.
    wait_for(
        lambda: states(phone)[-1][1]["freshness"] == "live" and states(phone)[-1][0] > again, 30
    )
    # The restarted daemon still knows what was seen.
    assert told(phone)[1]["acknowledged"]


def test_it_waits_for_a_daemon_that_has_never_run_and_goes_on_when_it_has(server, stream, tmp_path):
    folder = tmp_path / "data"
    running = server(folder=folder)
    follower = stream(running.url)
    wait_for(lambda: follower.events, 10)
    assert json.loads(follower.events[0][2]) == {
        "error": "Nothing has been logged for this rig yet."
    }
    assert httpx2.get(f"{running.url}/", timeout=10).status_code == 200
    store_scenario(folder, ended=False)
    wait_for(lambda: states(follower), 15)


def test_a_phone_that_slept_asks_anew_and_has_the_whole_state_at_once(server, stream, tmp_path):
    store_scenario(tmp_path / "data", ended=False)
    running = server()
    first = stream(running.url)
    wait_for(lambda: states(first), 10)
    first.close()
    again = stream(running.url, **{"Last-Event-ID": "1"})
    wait_for(lambda: states(again), 5)
    assert states(again)[0][1]["route"] is not None


def test_it_only_reads_the_store_and_stops_when_told_with_phones_still_there(
    server, stream, tmp_path
):
    folder = tmp_path / "data"
    store_scenario(folder, ended=False)
    before = (folder / "flowlog.db").read_bytes()
    running = server()
    follower = stream(running.url)
    wait_for(lambda: states(follower), 10)
    began = time.monotonic()
    assert running.stop() == 0
    assert time.monotonic() - began < 5
    assert (folder / "flowlog.db").read_bytes() == before
    assert "Traceback" not in running.text()


def raw(url: str, request: bytes) -> bytes:
    """What comes back for bytes as they stand, which a client library would put right."""
    port = int(url.rpartition(":")[2])
    with socket.create_connection(("127.0.0.1", port), 30) as connection:
        connection.sendall(request)
        connection.settimeout(30)
        got = b""
        while part := connection.recv(65536):
            got += part
    return got


def test_crafted_requests_get_nothing_out_of_it(server, tmp_path):
    store_scenario(tmp_path / "data", ended=False)
    running = server()
    host = b"Host: localhost\r\nConnection: close\r\n\r\n"
    for path in (
        b"/static/../../app.py",
        b"/static/x/../../../../../../etc/passwd",
        b"/static/x/%2e%2e%2f%2e%2e%2fapp.py",
        b"//etc/passwd",
        b"/../../../etc/passwd",
        b"http://elsewhere.example/",
        b"/static/x/look.css\x00",
    ):
        got = raw(running.url, b"GET " + path + b" HTTP/1.1\r\n" + host)
        assert b"root:" not in got
        assert b"create_app" not in got
        assert got.split(b" ")[1] in {b"404", b"400", b"302", b"200"}, got[:80]
    no_host = raw(running.url, b"GET / HTTP/1.1\r\nConnection: close\r\n\r\n")
    assert no_host.split(b" ")[1] in {b"400", b"421"}
    twice = raw(running.url, b"GET / HTTP/1.1\r\nHost: localhost\r\n" + host)
    assert twice.split(b" ")[1] in {b"400", b"421"}
    folded = raw(running.url, b"GET /code HTTP/1.1\r\nX: a\r\n Set-Cookie: x=1\r\n" + host)
    assert b"set-cookie" not in folded.lower()
    long = raw(running.url, b"GET /" + b"a" * 100_000 + b" HTTP/1.1\r\n" + host)
    assert long.split(b" ")[1] in {b"400", b"404", b"414", b"431"}
    smuggled = raw(
        running.url,
        b"POST /api/live/stop HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n"
        b"Content-Length: 4\r\n"
        b"Transfer-Encoding: chunked\r\nContent-Type: application/json\r\n\r\n0\r\n\r\n",
    )
    assert smuggled.split(b" ")[1] == b"400"
    assert httpx2.get(f"{running.url}/", timeout=10).status_code == 200


# --- on the network: address, code, picture -----------------------------------------------------


def test_on_the_network_it_shows_address_and_code_and_lets_nobody_in_without(server, tmp_path):
    store_scenario(tmp_path / "data", ended=False)
    running = server("--listen", "0.0.0.0:0")
    found = re.search(r"Access code:  (\S{4}-\S{4})", running.text())
    assert found is not None
    with httpx2.Client(base_url=running.url, timeout=10) as client:
        assert client.get("/api/live").status_code == 401
        assert client.post("/code", data={"code": "2222-2222"}).status_code == 403
        assert client.post("/code", data={"code": found[1]}).status_code == 303
        assert client.get("/api/live").status_code == 200
        cookies = dict(client.cookies)
    # After a restart the phone's session still holds; after --new-code it does not.
    running.stop()
    again = server("--listen", "0.0.0.0:0")
    assert found[1] in again.text()
    assert httpx2.get(f"{again.url}/api/live", cookies=cookies, timeout=10).status_code == 200
    again.stop()
    renewed = server("--listen", "0.0.0.0:0", "--new-code")
    assert found[1] not in renewed.text()
    assert httpx2.get(f"{renewed.url}/api/live", cookies=cookies, timeout=10).status_code == 401


def test_on_loopback_nothing_is_kept_and_how_to_let_a_phone_in_is_said(server, tmp_path):
    store_scenario(tmp_path / "data", ended=False)
    running = server()
    assert 'listen = "0.0.0.0:8733"' in running.text()
    assert not (tmp_path / "data" / keys.FILE).exists()


def test_the_setting_of_the_rig_file_is_used_and_show_only_shows(tmp_path):
    rig_file = tmp_path / "rig.toml"
    rig_file.write_text(
        RIG_FILE.read_text("utf-8") + '\n[page]\nlisten = "192.0.2.7:8080"\n', encoding="utf-8"
    )
    words = ["serve", str(rig_file), "--data", str(tmp_path / "data"), "--show"]
    shown = CliRunner().invoke(main, words)
    assert shown.exit_code == 0
    assert "http://192.0.2.7:8080/" in shown.output
    code = re.search(r"Access code:  (\S+)", shown.output)
    assert code is not None
    assert CliRunner().invoke(main, words).output == shown.output


def test_a_port_that_is_taken_is_one_plain_line(tmp_path):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        words = ["serve", str(RIG_FILE), "--data", str(tmp_path), "--listen", f"127.0.0.1:{port}"]
        found = CliRunner().invoke(main, words)
    assert found.exit_code == 2
    assert f"127.0.0.1:{port}: cannot listen there" in found.output
    assert "Traceback" not in found.output


@pytest.mark.parametrize("text", ["", "8733", "cart:8733", "0.0.0.0", "1.2.3.4:99999", "[::1]"])
def test_what_is_no_address_is_refused(tmp_path, text):
    words = ["serve", str(RIG_FILE), "--data", str(tmp_path), "--listen", text, "--show"]
    assert CliRunner().invoke(main, words).exit_code == 2


def test_the_code_is_kept_where_it_is_told(tmp_path):
    words = ["serve", str(RIG_FILE), "--data", str(tmp_path / "data"), "--show"]
    words += ["--listen", "0.0.0.0:8733", "--keys", str(tmp_path / "keys")]
    assert CliRunner().invoke(main, words).exit_code == 0
    assert (tmp_path / "keys" / keys.FILE).exists()
    assert not (tmp_path / "data" / keys.FILE).exists()


def test_where_the_code_cannot_be_kept_that_is_said(tmp_path):
    (tmp_path / "file").write_text("in the way")
    words = ["serve", str(RIG_FILE), "--data", str(tmp_path), "--show"]
    words += ["--listen", "0.0.0.0:8733", "--keys", str(tmp_path / "file" / "keys")]
    assert "cannot keep the access code" in CliRunner().invoke(main, words).output


def test_the_picture_is_square_has_a_quiet_zone_and_says_its_colours_only_when_asked():
    plain = qr.lines("http://192.168.4.1:8733/code#K7QM3XRD")
    width = len(plain[0])
    assert {len(line) for line in plain} == {width}
    assert 2 * len(plain) - width in {0, 1}
    assert set(plain[0]) == {"█"}
    assert all(line.startswith("████") for line in plain[:-1])
    assert not any("\x1b" in line for line in plain)
    assert all(line.endswith("\x1b[0m") for line in qr.lines("x", coloured=True))
