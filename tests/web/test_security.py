"""What other hosts' pages and crafted requests can do here: nothing."""

from __future__ import annotations

from urllib.parse import quote

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from starlette.routing import Route
from support.pages import guarded, let_in, loopback

from flowlog.web.door import host_name, known_host
from flowlog.web.site import Site
from flowlog.web.static import FOLDER, fingerprint

STOP = "/api/live/stop"
BEGIN = {"kind": "begin"}


@pytest.fixture
def client(tmp_path):
    return loopback(tmp_path)


# --- cross-site requests ------------------------------------------------------------------------


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "http://elsewhere.example"},
        {"Origin": "null"},
        {"Origin": "http://localhost:9999"},
        {"Origin": "https://localhost"},
        {"Origin": "http://localhost.elsewhere.example"},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
        {"Sec-Fetch-Site": "none"},
        {"Sec-Fetch-Site": "cross-site", "Origin": "http://localhost"},
        {"Sec-Fetch-Site": "same-origin", "Origin": "http://elsewhere.example"},
    ],
)
def test_another_hosts_page_cannot_post(client, tmp_path, headers):
    assert client.post(STOP, json=BEGIN, headers=headers).status_code == 403
    assert not (tmp_path / "inbox").exists()


@pytest.mark.parametrize(
    "headers", [{}, {"Origin": "http://localhost"}, {"Sec-Fetch-Site": "same-origin"}]
)
def test_our_own_pages_and_programs_can(client, tmp_path, headers):
    assert client.post(STOP, json=BEGIN, headers=headers).status_code == 202
    assert len(list((tmp_path / "inbox").iterdir())) == 1


@pytest.mark.parametrize(
    "kind", ["text/plain", "application/x-www-form-urlencoded", "multipart/form-data; boundary=x"]
)
def test_what_a_form_can_send_without_asking_is_not_taken(client, tmp_path, kind):
    answer = client.post(STOP, content='{"kind": "begin"}', headers={"Content-Type": kind})
    assert answer.status_code == 415
    assert not (tmp_path / "inbox").exists()


def test_nobody_is_allowed_to_read_from_elsewhere(client):
    answer = client.options(STOP, headers={"Origin": "http://elsewhere.example"})
    for name in answer.headers:
        assert not name.startswith("access-control-")
    assert "access-control-allow-origin" not in client.get("/").headers


def test_the_right_code_from_another_hosts_form_opens_nothing(tmp_path):
    client = guarded(tmp_path)
    answer = client.post(
        "/code", data={"code": "K7QM3XRD"}, headers={"Origin": "http://elsewhere.example"}
    )
    assert answer.status_code == 403
    assert "set-cookie" not in answer.headers


# --- names --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "host", ["elsewhere.example", "localhost.elsewhere.example", "", "192.168.4.1", "a b", "[::1"]
)
def test_a_name_that_is_not_ours_shows_nothing(client, host):
    answer = client.get("/", headers={"Host": host})
    assert answer.status_code == 421
    assert client.post(STOP, json=BEGIN, headers={"Host": host}).status_code == 421


@pytest.mark.parametrize("host", ["localhost", "LOCALHOST:8733", "127.0.0.1:1", "[::1]:8733"])
def test_this_machines_names_do(client, host):
    assert client.get("/", headers={"Host": host}).status_code == 200


@pytest.mark.parametrize("host", ["192.168.4.1:8733", "cart.local", "CART", "[fe80::1]:8733"])
def test_on_the_network_addresses_and_the_machines_name_do(tmp_path, host):
    client = guarded(tmp_path)
    assert client.get("/code", headers={"Host": host}).status_code == 200
    assert client.get("/code", headers={"Host": "elsewhere.example"}).status_code == 421


@settings(deadline=None)
@given(st.text(max_size=60))
def test_any_text_as_a_host_is_judged_without_a_fault(text):
    name = host_name(text)
    assert name is None or all(c.isascii() and (c.isalnum() or c in ".-_:%") for c in name)
    assert known_host([text], Site.__new__(Site)) is False if name is None else True


def test_two_hosts_are_no_host(tmp_path):
    site = Site(tmp_path)
    assert not known_host(["localhost", "localhost"], site)
    assert not known_host([], site)


# --- headers ------------------------------------------------------------------------------------


@pytest.mark.parametrize("path", ["/", "/nothing", "/api/openapi.json", "/api/nothing", "/code"])
def test_every_answer_carries_the_policy(client, path):
    headers = client.get(path).headers
    policy = headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    assert "http:" not in policy
    assert "*" not in policy
    assert "frame-ancestors 'none'" in policy
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["cache-control"] == "no-store"
    assert headers["referrer-policy"] == "same-origin"


def test_so_does_the_answer_to_a_fault_of_ours_which_tells_nothing_of_it(client, tmp_path):

    def broken(_request):
        raise RuntimeError(f"secret {tmp_path}")

    client.app.router.routes.append(Route("/api/broken", broken))
    answer = client.get("/api/broken")
    assert answer.status_code == 500
    assert "secret" not in answer.text
    assert "Traceback" not in answer.text
    assert "default-src 'none'" in answer.headers["content-security-policy"]
    assert answer.headers["cache-control"] == "no-store"


def test_files_are_kept_by_the_browser_and_change_their_address_with_their_content(client):
    page = client.get("/").text
    assert f"/static/{fingerprint()}/look.css" in page
    found = client.get(f"/static/{fingerprint()}/look.css")
    assert "immutable" in found.headers["cache-control"]
    assert found.headers["etag"]
    old = client.get("/static/0123456789abcdef/look.css")
    assert old.status_code == 302
    assert old.headers["location"] == f"/static/{fingerprint()}/look.css"


@pytest.mark.parametrize(
    "path",
    [
        "/static/x/../../app.py",
        "/static/x/..%2f..%2fapp.py",
        "/static/x/%2e%2e/app.py",
        "/static/x/..%5capp.py",
        "/static/%2e%2e/%2e%2e/etc/passwd",
        "/static/x//etc/passwd",
        "/static/x/look.css%00.js",
        "/static/x/.hidden",
        "/static/x/LOOK.CSS",
        "/..%2f..%2fetc/passwd",
    ],
)
def test_no_path_leads_out_of_the_folder_of_files(client, path):
    answer = client.get(path)
    assert answer.status_code in {302, 404}
    assert "create_app" not in answer.text
    assert "root:" not in answer.text


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(name=st.text(min_size=1, max_size=30))
def test_only_files_of_the_folder_are_ever_sent(client, name):
    answer = client.get(f"/static/{fingerprint()}/{quote(name, safe='', errors='replace')}")
    if answer.status_code == 200:
        assert name in {path.name for path in FOLDER.iterdir()}


@pytest.mark.parametrize("value", ["a\r\nSet-Cookie: x=1", "a\nb: c", "x\r\n\r\n<script>"])
def test_no_header_can_be_put_in_by_what_is_asked(tmp_path, value):
    client = guarded(tmp_path)
    let_in(client)
    for answer in (
        client.get("/static/x/look.css", params={"a": value}),
        client.get("/routes", params={"a": value}),
        client.post("/code", data={"code": value}),
        client.post(STOP, json={"kind": "name", "name": value}),
    ):
        assert answer.headers.get("set-cookie", "flowlog-demo-cart=").startswith("flowlog-")
        assert "b" not in answer.headers
        assert "<script>" not in answer.text


def test_what_a_stranger_types_is_shown_as_text_only(tmp_path):
    client = guarded(tmp_path)
    answer = client.post("/code", data={"code": '"><script>alert(1)</script>'})
    assert "<script>alert" not in answer.text


def test_a_body_without_end_is_not_read_to_its_end(client):
    def endless():
        for _ in range(1000):
            yield b" " * 10_000

    answer = client.post(STOP, content=endless(), headers={"Content-Type": "application/json"})
    assert answer.status_code == 413


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "TRACE", "CONNECT"])
def test_other_methods_change_nothing(client, tmp_path, method):
    assert client.request(method, STOP).status_code == 405
    assert not (tmp_path / "inbox").exists()
