"""The interface against its own description: what it answers is what the document says."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from schemathesis import GenerationMode
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
)
from starlette.routing import Route
from stored import store_scenario
from support.pages import loopback

from flowlog.web import openapi
from flowlog.web.app import create_app
from flowlog.web.site import Site

LEAKS = re.compile(r"Traceback|\.py\b|/tmp/|/home/|/usr/|site-packages|sqlite3?\.|OperationalError")
EXAMPLES = 25
"""At each address: found enough in trials with hundreds, and short enough for every run."""
ENDLESS = "/api/live/stream"
"""Never ends by itself; it has tests of its own."""


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    made = tmp_path_factory.mktemp("described")
    store_scenario(made)
    yield made
    shutil.rmtree(made / "inbox", ignore_errors=True)


@pytest.fixture(scope="module")
def described(folder):
    app = create_app(Site(folder, names=frozenset({"localhost"})))
    return schemathesis.openapi.from_asgi("/api/openapi.json", app, headers={"Host": "localhost"})


def operations() -> list[tuple[str, str]]:
    paths = create_app(Site(Path("nowhere"))).state.openapi["paths"]
    return [(path, method) for path in paths for method in paths[path] if path != ENDLESS]


@pytest.mark.parametrize(("path", "method"), operations())
def test_no_answer_is_a_fault_or_tells_of_the_inside(described, folder, path, method):
    """Values that fit the description, and values that do not, at each address."""
    fitting = described[path][method].as_strategy(generation_mode=GenerationMode.POSITIVE)
    others = described[path][method].as_strategy(generation_mode=GenerationMode.NEGATIVE)

    @settings(
        max_examples=EXAMPLES,
        deadline=None,
        database=None,
        phases=[Phase.explicit, Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(st.one_of(fitting, others))
    def look(case):
        for left in (folder / "inbox").glob("*"):
            if left.is_file():
                left.unlink()
        answer = case.call(headers={"Host": "localhost"})
        assert answer.status_code < 500, answer.text
        assert not LEAKS.search(answer.text), answer.text
        assert str(folder) not in answer.text
        case.validate_response(
            answer,
            checks=[status_code_conformance, content_type_conformance, response_schema_conformance],
        )

    look()


def test_every_address_below_api_is_described_once_and_every_described_one_is_there(folder):
    app = create_app(Site(folder))
    served = {
        (re.sub(r":\w+\}", "}", route.path), method)
        for route in app.routes
        if isinstance(route, Route) and route.path.startswith("/api/")
        for method in route.methods - {"HEAD"}
    }
    document = app.state.openapi
    told = {(path, method.upper()) for path, found in document["paths"].items() for method in found}
    assert told == served
    ids = [found["operationId"] for path in document["paths"].values() for found in path.values()]
    assert len(ids) == len(set(ids))


def test_a_route_without_a_description_stops_the_application_from_being_made():
    bare = Route("/api/bare", lambda _request: None)
    with pytest.raises(LookupError, match="/api/bare"):
        openapi.document([bare], {})


def test_every_shared_part_that_is_named_is_there(folder):
    document = create_app(Site(folder)).state.openapi
    named = set(re.findall(r"#/components/schemas/(\w+)", str(document)))
    assert named <= set(document["components"]["schemas"])


def test_the_document_is_served_at_one_stable_address(folder):
    with loopback(folder) as client:
        found = client.get("/api/openapi.json").json()
    assert found["openapi"].startswith("3.1")
    assert ENDLESS in found["paths"]
