"""The pages of the evening: what stands on them, and that each is there as CSV and JSON, too."""

from __future__ import annotations

import csv
import io
import re
from html.parser import HTMLParser

import jsonschema
import pytest
from stored import BEGAN_US, RIG, RIG_TEXT, store_items, store_scenario
from support.pages import loopback

from flowlog.review.shelf import Shelf
from flowlog.simulator.run import simulate
from flowlog.simulator.scenario import find_scenario, read_scenario
from flowlog.store.recorder import Recorder
from flowlog.store.rows import Batch, StopMark

NASTY = '<script>alert("x")</script>'
DAY_US = 86_400_000_000


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    made = tmp_path_factory.mktemp("rig")
    mark = StopMark(NASTY, "name", BEGAN_US, 0, 60_000_000, "mark-1")
    store_scenario(made, "morning", marks=(mark,))
    items = simulate(read_scenario(find_scenario("healthy"))).items
    store_items(made, items, began_us=BEGAN_US + DAY_US)
    return made


@pytest.fixture
def client(folder):
    return loopback(folder)


class _Page(HTMLParser):
    """What a page holds: its tags, its text, and where its links lead."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.links: list[str] = []
        self.inline: list[str] = []
        self._words: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        found = dict(attrs)
        self.links += [found["href"]] if tag == "a" and "href" in found else []
        self.inline += [name for name in found if name == "style" or name.startswith("on")]
        if tag == "script" and "src" not in found:
            self.inline.append("script")

    def handle_data(self, data):
        self._words.append(data)

    @property
    def text(self) -> str:
        return re.sub(r"\s+", " ", " ".join(self._words))


def page(client, path) -> _Page:
    answer = client.get(path)
    assert answer.status_code == 200, answer.text
    return _Page(answer.text)


PAGES = ("/routes", "/routes/1", "/routes/2", "/season", "/compare?a=1&b=2")


@pytest.mark.parametrize("path", PAGES)
def test_no_page_has_a_script_or_a_style_in_it_nor_runs_a_name(client, path):
    found = page(client, path)
    assert found.inline == []
    assert NASTY not in client.get(path).text


@pytest.mark.parametrize("path", PAGES)
def test_every_link_leads_somewhere_here(client, path):
    for link in set(page(client, path).links):
        assert link.startswith("/")
        if not link.endswith((".pdf", "report.html")):
            assert client.get(link.partition("#")[0]).status_code == 200, link


@pytest.mark.parametrize("path", PAGES)
def test_what_a_page_shows_is_there_as_csv_and_as_json(client, path):
    links = [link.partition("?")[0] for link in page(client, path).links]
    api = [link for link in links if link.startswith("/api/")]
    assert any(link.endswith(".csv") for link in api)
    assert any(not link.endswith(".csv") for link in api)


def test_the_routes_are_listed_by_day_the_newest_first(client):
    text = page(client, "/routes").text
    days = re.findall(r"\w+day, 2026-0\d-\d\d", text)
    assert len(days) == 2
    assert days[0].split()[1] > days[1].split()[1]


def test_a_route_shows_its_sums_its_stops_and_its_alerts(client):
    text = page(client, "/routes/1").text
    for words in ("gal/1000 ft2 ±", "on rate", "Tip blocked", NASTY, "How sure this is"):
        assert words in text
    # The clogged tip is said within seconds, and lies in the second stop.
    assert re.search(r"Tip blocked .* [1-5] s", text)


def test_a_chart_has_its_title_and_says_what_is_to_be_seen(client):
    drawn = client.get("/api/routes/1/chart.svg").text
    assert "<title" in drawn
    assert re.search(r"<desc[^>]*>14 min 1\d s of the route\. Rate from", drawn)
    assert NASTY not in drawn


def test_the_window_of_a_page_is_in_its_address(client):
    whole, part = page(client, "/routes/1"), page(client, "/routes/1?from=60&to=120")
    assert whole.text != part.text
    assert "/api/routes/1/chart.csv?from=60.000&to=120.000" in part.links


@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("/routes/0", 404),
        ("/routes/3", 404),
        ("/routes/99999999999999999999", 404),
        ("/routes/x", 404),
        ("/routes/1?from=x", 400),
        ("/routes/1?from=-1", 400),
        ("/routes/1?from=nan", 400),
        ("/routes/1?to=1e99", 400),
        ("/compare", 400),
        ("/compare?a=1", 400),
        ("/compare?a=1&b=3", 404),
        ("/compare?a=1&b=1.5", 400),
        ("/season?first=0", 400),
        ("/season?first=1.5", 400),
        ("/api/routes/1/chart?columns=50.5", 400),
        ("/api/routes/1/chart?columns=5", 400),
        ("/api/routes/1/chart.svg?width=1e9", 400),
    ],
)
def test_what_is_not_there_or_cannot_be_asked_is_told_in_a_sentence(client, folder, path, status):
    answer = client.get(path)
    assert answer.status_code == status
    assert str(folder) not in answer.text
    assert "Traceback" not in answer.text


# --- as JSON: what the interface's own description promises --------------------------------------


@pytest.mark.parametrize(
    "path",
    [
        "/api/routes",
        "/api/routes/1",
        "/api/routes/2",
        "/api/routes/1/chart",
        "/api/routes/1/chart?from=20&to=30",
        "/api/routes/1/chart?from=0&to=100&columns=50",
        "/api/routes/1/histogram",
        "/api/routes/1/derive",
        "/api/season",
        "/api/season?first=2&last=2",
        "/api/compare?a=1&b=2",
    ],
)
def test_an_answer_is_as_it_is_described(client, path):
    described = client.get("/api/openapi.json").json()
    plain = re.sub(r"/\d+", "/{number}", path.partition("?")[0])
    operation = described["paths"][plain]["get"]
    schema = operation["responses"]["200"]["content"]["application/json"]["schema"]
    answer = client.get(path)
    assert answer.status_code == 200
    jsonschema.validate(answer.json(), {**schema, "components": described["components"]})


def test_a_chart_holds_no_more_points_than_asked_and_no_excursion_is_lost(client):
    whole = client.get("/api/routes/1/chart?columns=2000").json()
    rough = client.get("/api/routes/1/chart?columns=40").json()
    for fine_panel, rough_panel in zip(whole["panels"], rough["panels"], strict=True):
        assert len(rough_panel["at_s"]) <= 40
        for which, extreme in (("low", min), ("high", max)):
            known = [[v for v in one[which] if v is not None] for one in (fine_panel, rough_panel)]
            assert extreme(known[0]) == extreme(known[1])


def test_ten_seconds_come_finer_than_a_second(client):
    found = client.get("/api/routes/1/chart?from=20&to=30").json()
    assert found["end_s"] - found["begin_s"] == pytest.approx(10)
    pressure = found["panels"][2]
    assert len(pressure["at_s"]) > 90


def test_the_sums_of_the_list_are_those_of_the_routes(client):
    for one in client.get("/api/routes").json()["routes"]:
        figures = client.get(f"/api/routes/{one['number']}").json()["figures"]
        for name in ("area_m2", "volume_m3", "rate_m3_m2", "spraying_s"):
            assert one["sums"][name] == pytest.approx(figures[name])


def test_while_routes_are_still_added_up_the_page_says_so_and_then_shows_them(client, monkeypatch):
    monkeypatch.setattr("flowlog.web.shelves.PATIENCE_S", -1.0)
    monkeypatch.setattr(Shelf, "fill", lambda *_: None)
    assert client.get("/api/routes").json()["pending"] == 2
    text = page(client, "/routes").text
    assert "Still adding up 2 of 2 routes." in text
    assert "not added up yet" in text
    assert "Still adding up" in page(client, "/season").text
    # A file to keep is whole in any case.
    assert len(client.get("/api/routes.csv").text.splitlines()) == 3
    assert client.get("/api/routes").json()["pending"] == 0


# --- as CSV ---------------------------------------------------------------------------------------


def table(client, path):
    answer = client.get(path)
    assert answer.status_code == 200
    assert answer.headers["content-type"].startswith("text/csv")
    assert re.fullmatch(
        r'attachment; filename="[a-z0-9.-]+\.csv"', answer.headers["content-disposition"]
    )
    return list(csv.DictReader(io.StringIO(answer.text)))


def test_the_readings_come_whole_though_they_are_sent_in_pieces(client):
    rows = table(client, "/api/routes/1/readings.csv")
    whole = client.get("/api/routes/1/readings.json").json()
    assert len(rows) == len(whole["readings"]) > 800


def test_tables_name_their_units(client):
    assert "rate_gal_1000ft2" in table(client, "/api/routes.csv")[0]
    assert "rate_gal_1000ft2_mean" in table(client, "/api/routes/1/chart.csv")[0]
    assert len(table(client, "/api/routes/1/stops.csv")) == 4
    seconds = sum(float(row["seconds"]) for row in table(client, "/api/routes/1/histogram.csv"))
    assert seconds == pytest.approx(client.get("/api/routes/1/histogram").json()["total_s"])
    assert table(client, "/api/season.csv")[0]["route"] == "1"
    (tip, *_) = table(client, "/api/routes/1/alerts.csv")
    assert (tip["stop"], tip["noted"]) == ("2", "False")
    assert 0 < float(tip["said_second"]) - float(tip["began_second"]) < 10
    assert table(client, "/api/routes/1/corrections.csv") == []
    names = [row["figure"] for row in table(client, "/api/compare.csv?a=1&b=2")]
    assert names[:2] == ["rate_gal_1000ft2", "asked_rate_gal_1000ft2"]


def test_a_rig_that_has_no_route_yet_has_pages_all_the_same(tmp_path):
    Recorder.open(tmp_path, RIG, RIG_TEXT).close()
    client = loopback(tmp_path)
    assert "Nothing was recorded yet" in page(client, "/routes").text
    assert page(client, "/season").text
    assert client.get("/api/routes").json() == {"pending": 0, "routes": []}


def test_a_route_without_readings_has_a_page(tmp_path):
    recorder = Recorder.open(tmp_path, RIG, RIG_TEXT)
    recorder.commit(Batch(recorder.begin_route(BEGAN_US).id))
    recorder.close()
    client = loopback(tmp_path)
    assert "Nothing was sprayed." in page(client, "/routes/1").text
    assert "Route" in page(client, "/routes").text
    for path in ("chart", "chart.csv", "chart.svg", "histogram", "stops.csv", "readings.csv"):
        assert client.get(f"/api/routes/1/{path}").status_code == 200


def test_the_page_of_a_route_says_that_its_raw_samples_were_deleted(tmp_path):
    store_items(tmp_path, simulate(read_scenario(find_scenario("healthy"))).items)
    client = loopback(tmp_path)
    said = "The raw samples of this route were deleted"
    assert said not in page(client, "/routes/1").text
    assert not client.get("/api/routes/1").json()["raw_samples_gone"]
    recorder = Recorder.open(tmp_path, RIG, RIG_TEXT)
    recorder.prune_raw(1)
    recorder.close()
    assert said in page(client, "/routes/1").text
    assert client.get("/api/routes/1").json()["raw_samples_gone"]
    assert client.get("/api/routes/1/chart?from=10&to=20&columns=600").status_code == 200
