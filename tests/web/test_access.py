"""Without the code: nothing but the code page; wrong codes are slowed down."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from starlette.routing import Route
from support.pages import CODE, SECRET, guarded, let_in, loopback

from flowlog.web import keys, static
from flowlog.web.access import ALPHABET, LENGTH, SESSION_S, Access, new_code, spoken
from flowlog.web.tries import FREE, FREE_OF_ALL, LONGEST_WAIT_S, Tries

NOW_S = 1_780_000_000.0


def every_path(client) -> list[str]:
    """An address of each route of the application, whoever added it."""
    found = []
    for route in client.app.routes:
        assert isinstance(route, Route)
        path = route.path.replace("{fingerprint}", static.fingerprint()).replace(
            "{name}", next(iter(static.names() - static.OPEN_FILES))
        )
        while "{" in path:
            before, _, rest = path.partition("{")
            path = f"{before}1{rest.partition('}')[2]}"
        found.append(path)
    return found


def test_without_the_code_every_address_leads_to_the_code_page_or_to_a_refusal(tmp_path):
    client = guarded(tmp_path)
    paths = every_path(client)
    assert len(paths) > 8
    for path in [*paths, "/nothing-here", "/api/nothing-here", "/static/../app.py", "//", "/code/"]:
        if path == "/code":
            continue
        answer = client.get(path)
        if path.startswith("/api/"):
            assert (answer.status_code, list(answer.json())) == (401, ["error"]), path
        else:
            assert (answer.status_code, answer.headers["location"]) == (303, "/code"), path
        assert "Demo" not in answer.text
        posted = client.post(path, json={})
        assert posted.status_code in {401, 403}, path


def test_the_code_page_and_what_it_needs_is_shown_to_all(tmp_path):
    client = guarded(tmp_path)
    assert client.get("/code").status_code == 200
    for name in static.OPEN_FILES & static.names():
        assert client.get(static.static_url(name)).status_code == 200, name


def test_the_code_opens_the_pages_however_it_is_typed(tmp_path):
    for typed in (CODE, CODE.lower(), spoken(CODE), f"  {CODE[:4]} {CODE[4:]} "):
        client = guarded(tmp_path)
        answer = let_in(client, typed)
        assert (answer.status_code, answer.headers["location"]) == (303, "/")
        assert client.get("/").status_code == 200
        assert client.get("/api/openapi.json").status_code == 200


def test_the_cookie_cannot_be_read_by_scripts_nor_sent_from_elsewhere(tmp_path):
    cookie = let_in(guarded(tmp_path)).headers["set-cookie"].lower()
    assert cookie.startswith("flowlog-demo-cart=")
    assert "httponly" in cookie
    assert "samesite=strict" in cookie
    assert "path=/" in cookie


def test_ten_wrong_codes_are_looked_at_and_then_the_eleventh_must_wait(tmp_path):
    client = guarded(tmp_path)
    for _ in range(FREE):
        assert let_in(client, "22222222").status_code == 403
    slowed = let_in(client, "22222222")
    assert slowed.status_code == 429
    assert int(slowed.headers["retry-after"]) >= 1
    # Even the right one: whoever is slowed learns nothing from the answer.
    assert let_in(client).status_code == 429
    assert client.get("/").status_code == 303


def test_another_phone_is_not_slowed_by_the_first_ones_mistakes(tmp_path):
    client = guarded(tmp_path)
    for _ in range(FREE + 1):
        client.app.state.site.access.tries.wrong("192.168.4.66", 0.0)
    assert let_in(client).status_code == 303


def test_where_only_this_machine_can_look_there_is_no_code(tmp_path):
    client = loopback(tmp_path)
    assert client.get("/").status_code == 200
    assert client.get("/code").status_code == 303
    assert client.post("/code", data={"code": "x"}).headers["location"] == "/"


# --- the pieces ---------------------------------------------------------------------------------


def test_a_session_ends_after_its_time_and_is_worth_nothing_before_it():
    access = Access(CODE, SECRET, "cart")
    cookie = access.begin(NOW_S)
    assert access.holds(cookie, NOW_S + SESSION_S - 1)
    assert not access.holds(cookie, NOW_S + SESSION_S + 1)
    assert not access.holds(cookie, NOW_S - 10)


def test_another_code_or_secret_ends_every_session():
    cookie = Access(CODE, SECRET, "cart").begin(NOW_S)
    assert not Access("23456789", SECRET, "cart").holds(cookie, NOW_S)
    assert not Access(CODE, bytes(32), "cart").holds(cookie, NOW_S)


@settings(deadline=None)
@given(st.text(max_size=80), st.integers(0, 79))
def test_no_made_up_or_changed_cookie_is_taken(text, place):
    access = Access(CODE, SECRET, "cart")
    assert not access.holds(text, NOW_S)
    good = access.begin(NOW_S)
    changed = good[: place % len(good)] + "~" + good[place % len(good) + 1 :]
    assert not access.holds(changed, NOW_S)


@settings(deadline=None)
@given(st.text(max_size=40))
def test_only_the_code_is_the_code(text):
    access = Access(CODE, SECRET, "cart")
    kept = "".join(c for c in text.upper() if c.isascii() and c.isalnum())
    assert access.is_code(text) == (kept == CODE)


def test_codes_are_long_enough_and_without_letters_that_look_alike():
    codes = {new_code() for _ in range(200)}
    assert len(codes) == 200
    assert all(len(code) == LENGTH and set(code) <= set(ALPHABET) for code in codes)
    assert not set("01OILUV") & set(ALPHABET) - {"V"}


def test_waiting_grows_to_a_minute_and_is_forgiven_after_a_quarter_of_an_hour():
    tries = Tries()
    waits = []
    now_s = 0.0
    for _ in range(FREE + 8):
        tries.wrong("10.0.0.1", now_s)
        waits.append(tries.wait_s("10.0.0.1", now_s))
        now_s += waits[-1]
    assert waits[: FREE - 1] == [0.0] * (FREE - 1)
    assert waits[FREE - 1 :] == sorted(waits[FREE - 1 :])
    assert waits[-1] == LONGEST_WAIT_S
    tries.wrong("10.0.0.1", now_s + 3600)
    assert tries.wait_s("10.0.0.1", now_s + 3600) == 0.0


def test_who_has_many_addresses_gets_no_further():
    tries = Tries()
    for number in range(FREE_OF_ALL):
        tries.wrong(f"10.0.{number}.1", 0.0)
    assert tries.wait_s("10.9.9.9", 0.0) > 0
    same_net = Tries()
    for number in range(FREE):
        same_net.wrong(f"2001:db8::{number:x}", 0.0)
    assert same_net.wait_s("2001:db8::ffff", 0.0) > 0
    assert same_net.wait_s("2001:db8:1::1", 0.0) == 0


@settings(deadline=None)
@given(st.lists(st.tuples(st.ip_addresses().map(str), st.floats(0, 1e6)), max_size=50))
def test_no_address_waits_longer_than_a_minute(tried):
    tries = Tries()
    for address, at_s in sorted(tried, key=lambda one: one[1]):
        tries.wrong(address, at_s)
        assert 0 <= tries.wait_s(address, at_s) <= LONGEST_WAIT_S


def test_the_code_outlives_a_restart_and_only_this_user_can_read_it(tmp_path):
    made = keys.make("cart")
    assert keys.keep(made, tmp_path)
    assert (tmp_path / keys.FILE).stat().st_mode & 0o777 == 0o600
    found = keys.load(tmp_path, "cart")
    assert found is not None
    assert (found.code, found.secret) == (made.code, made.secret)
    assert found.holds(made.begin(NOW_S), NOW_S)


@pytest.mark.parametrize("text", ["", "{}", "[]", '{"code": "x", "secret": "00"}', "\0" * 5000])
def test_a_damaged_key_file_is_no_key(tmp_path, text):
    (tmp_path / keys.FILE).write_text(text)
    assert keys.load(tmp_path, "cart") is None


def test_a_folder_that_cannot_be_written_is_said_and_no_fault(tmp_path):
    blocked = tmp_path / "file"
    blocked.write_text("")
    assert not keys.keep(keys.make("cart"), blocked)
