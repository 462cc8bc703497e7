"""Corrections through the pages: they hold at once, can be undone, or are refused in words."""

from __future__ import annotations

import json
import time

import jsonschema
import pytest
from stored import RIG, RIG_TEXT, store_scenario
from support.pages import loopback

from flowlog.calibrating.rows import Noted, row_of
from flowlog.calibration.meter import meter
from flowlog.calibration.meter_runs import MeterRun
from flowlog.store.recorder import Recorder

JSON = {"Content-Type": "application/json"}
SAY = "/api/routes/1/corrections"


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    made = tmp_path_factory.mktemp("rig")
    store_scenario(made)
    runs = [MeterRun(RIG.meter.pulses_per_m3 * 0.0208, 80.0, volume_m3=0.02) for _ in range(3)]
    recorder = Recorder.open(made, RIG, RIG_TEXT)
    recorder.add_calibration(row_of(meter(runs, rig_meter=RIG.meter), RIG, Noted("Ann")))
    recorder.close()
    return made


@pytest.fixture
def client(folder):
    return loopback(folder)


def route(client):
    return client.get("/api/routes/1").json()


def at(client, number):
    stop = route(client)["stops"][number - 1]["begin"]
    return {"segment": stop["segment"], "t_us": stop["t_us"]}


def say(client, **body):
    answer = client.post(SAY, json=body)
    assert answer.status_code == 202, answer.text
    assert answer.json()["stored"]
    return route(client)


def undo_last(client):
    return say(client, kind="undo", number=route(client)["corrections"][-1]["number"])


def test_a_stop_is_called_otherwise_and_back(client):
    found = say(client, kind="rename", at=at(client, 1), name="Mill Lane 9", reason="typo")
    assert found["stops"][0]["name"] == "Mill Lane 9"
    told = found["corrections"][-1]
    assert (told["by"], told["reason"], told["holds"]) == ("on the pages", "typo", True)
    assert "Mill Lane 9" in client.get("/routes/1").text
    assert undo_last(client)["stops"][0]["name"] is None


def test_a_given_area_counts_for_the_stop_and_the_route(client):
    before = route(client)
    found = say(client, kind="area", at=at(client, 2), area="2 acre")
    stop = found["stops"][1]
    assert stop["figures"]["area_m2"] == pytest.approx(2 * 43_560 * 0.09290304)
    assert stop["counted_area_m2"] == pytest.approx(before["stops"][1]["figures"]["area_m2"])
    more = stop["figures"]["area_m2"] - stop["counted_area_m2"]
    assert found["figures"]["area_m2"] == pytest.approx(before["figures"]["area_m2"] + more)
    assert "given; counted" in client.get("/routes/1").text
    assert say(client, kind="area", at=at(client, 2), area=None)["stops"] == before["stops"]


def test_a_stop_is_split_and_merged_again(client):
    before = route(client)["stops"]
    end = before[0]["end"]
    place = {"segment": end["segment"], "t_us": (before[0]["begin"]["t_us"] + end["t_us"]) // 2}
    found = say(client, kind="split", at=at(client, 1), split=place)["stops"]
    assert len(found) == len(before) + 1
    assert [stop["number"] for stop in found] == list(range(1, len(found) + 1))
    volume = [stop["figures"]["volume_m3"] for stop in found[:2]]
    assert sum(volume) == pytest.approx(before[0]["figures"]["volume_m3"])
    after = say(client, kind="merge", at=at(client, 2))["stops"]
    assert [stop["figures"] for stop in after] == [stop["figures"] for stop in before]


def test_a_page_that_was_loaded_before_somebody_else_merged_means_the_same_stop(client):
    place = at(client, 3)
    say(client, kind="merge", at=at(client, 2))
    found = say(client, kind="rename", at=place, name="third")
    assert [stop["name"] for stop in found["stops"]] == [None, "third"]
    undo_last(client)
    say(client, kind="undo", number=len(route(client)["corrections"]) - 2)


def test_new_tips_are_marked_on_the_season(client):
    # Of the first route there is nothing before; the mark stands at its beginning.
    say(client, kind="tips", note="all tips new")
    assert client.get("/api/season").json()["changes"] == [
        {"route": 1, "at_h": 0.0, "what": "tips", "text": "all tips new"}
    ]
    undo_last(client)


def test_another_calibration_is_derived_with_progress_and_what_was_logged_stays(client):
    before = route(client)
    waiting = say(client, kind="calibrations", numbers=[1])
    assert not waiting["derived_anew"]
    assert "Other calibrations were chosen" in client.get("/routes/1").text
    described = client.get("/api/openapi.json").json()
    schema = {"$ref": "#/components/schemas/Derivation", "components": described["components"]}
    work = client.post("/api/routes/1/derive", json={}).json()
    jsonschema.validate(work, schema)
    end = time.monotonic() + 40
    shares = []
    while work["state"] != "done":
        assert work["state"] == "under way", work
        assert time.monotonic() < end
        shares.append(work["share"])
        time.sleep(0.05)
        work = client.get("/api/routes/1/derive").json()
    assert shares == sorted(shares)
    found = route(client)
    assert found["derived_anew"]
    assert found["figures"]["volume_m3"] == pytest.approx(
        before["figures"]["volume_m3"] / 1.04, rel=1e-3
    )
    text = client.get("/routes/1").text
    assert "Derived anew with meter number 1" in text
    assert say(client, kind="calibrations", numbers=None)["figures"] == before["figures"]


@pytest.mark.parametrize(
    ("body", "told"),
    [
        ({}, "kind has to be"),
        ({"kind": "repaint"}, "kind has to be"),
        ({"kind": "rename", "name": "x"}, "a place is needed"),
        ({"kind": "rename", "at": {"segment": 0, "t_us": True}}, "a place is needed"),
        ({"kind": "rename", "at": {"segment": 7, "t_us": 1}, "name": "x"}, "no stop at this place"),
        ({"kind": "rename", "at": 1, "name": "x", "colour": "red"}, "Only these can be said"),
        ({"kind": "tips", "note": "x" * 121}, "at most 120"),
        ({"kind": "tips", "note": "a\u0000b"}, "cannot be printed"),
        ({"kind": "tips", "note": "\ud800"}, "cannot be printed"),
        ({"kind": "tips", "note": " "}, "say what was done"),
        ({"kind": "calibrations", "numbers": [99]}, "no number 99"),
        ({"kind": "calibrations", "numbers": "1"}, "a list of calibrations"),
        ({"kind": "undo", "number": 99999}, "has corrections 1 to"),
        ({"kind": "undo"}, "the number of a correction"),
    ],
)
def test_what_cannot_be_is_refused_in_a_sentence_and_leaves_nothing(client, folder, body, told):
    before = route(client)["corrections"]
    # With escapes in ASCII: half a surrogate pair could not be sent otherwise.
    answer = client.post(SAY, content=json.dumps(body), headers=JSON)
    assert answer.status_code == 400
    assert told in answer.json()["error"]
    assert route(client)["corrections"] == before
    assert not list((folder / "inbox").glob("*.correction"))


def test_a_stop_and_a_split_are_needed_to_split(client):
    place = at(client, 1)
    for split in (None, 5, "noon", {"segment": 0}, "+9:00:00"):
        answer = client.post(SAY, json={"kind": "split", "at": place, "split": split})
        assert answer.status_code == 400
        assert "split" in answer.json()["error"]
    assert client.post(SAY, json={"kind": "merge", "at": place}).status_code == 400


def test_another_hosts_page_corrects_nothing(client):
    before = route(client)["corrections"]
    body = {"kind": "tips", "note": "new"}
    for headers in ({"Origin": "http://elsewhere.example"}, {"Sec-Fetch-Site": "cross-site"}):
        assert client.post(SAY, json=body, headers=headers).status_code == 403
    assert client.post(SAY, data=body).status_code == 415
    assert route(client)["corrections"] == before


def test_there_is_nothing_to_derive_where_nothing_was_chosen(client):
    assert client.get("/api/routes/1/derive").json()["state"] == "done"
    assert client.post("/api/routes/1/derive", json={}).json()["state"] == "done"
    assert client.get("/api/routes/9/derive").status_code == 404


def test_while_a_daemon_writes_a_correction_is_left_for_it(client, folder, monkeypatch):
    monkeypatch.setattr("flowlog.web.api_corrections.PATIENCE_S", 0.1)
    recorder = Recorder.open(folder, RIG, RIG_TEXT)
    try:
        answer = client.post(SAY, json={"kind": "tips", "note": "new"})
    finally:
        recorder.close()
    assert answer.status_code == 202
    assert not answer.json()["stored"]
    assert len(list((folder / "inbox").glob("*.correction"))) == 1
