"""Reports through the pages: as a browser gets them."""

from __future__ import annotations

import subprocess
import sys
import threading
from pathlib import Path

import pytest
from starlette.testclient import TestClient

sys.path.insert(0, str(Path(__file__).parents[1] / "report"))

from pages import Reader, pdf_text
from reported import store_morning
from support import own_loop

from flowlog.report import child
from flowlog.review.find import NotFoundError
from flowlog.store.errors import StoreError
from flowlog.web.app import create_app
from flowlog.web.site import Site

NASTY = '<script>alert("x")</script>'


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    made = tmp_path_factory.mktemp("reported")
    store_morning(made, named=(NASTY, "Mill Lane 9"))
    return made


@pytest.fixture
def client(folder: Path):
    with TestClient(create_app(Site(folder)), base_url="http://localhost") as made:
        yield made


def test_a_route_and_a_stop_as_html_complete_in_itself(client) -> None:
    for path, title in (("report", "Route 1"), ("stops/2/report", "Stop 2: Mill Lane 9")):
        answer = client.get(f"/routes/1/{path}.html")
        assert answer.status_code == 200
        assert answer.headers["content-type"].startswith("text/html")
        assert title in Reader(answer.text).text
        assert "script" not in Reader(answer.text).tags


def test_a_report_may_bring_its_style_and_run_nothing(client) -> None:
    policy = client.get("/routes/1/report.html").headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "script-src" not in policy
    assert "sandbox" in policy


def test_a_pdf_comes_as_a_file_with_a_plain_name(client, tool, tmp_path) -> None:
    answer = client.get("/routes/1/stops/1/report.pdf?paper=a4")
    assert answer.headers["content-type"] == "application/pdf"
    assert answer.headers["content-disposition"] == 'attachment; filename="route-1-stop-1.pdf"'
    text = pdf_text(tool("pdftotext"), answer.content, tmp_path, "-layout")
    assert "Page 1 of" in text


def test_html_can_be_saved(client) -> None:
    answer = client.get("/routes/1/report.html?save")
    assert answer.headers["content-disposition"] == 'attachment; filename="route-1.html"'


@pytest.mark.parametrize(
    ("path", "status", "words"),
    [
        ("/routes/9/report.html", 404, "There is no route 9"),
        ("/routes/0/report.pdf", 404, "There is no route 0"),
        ("/routes/1/stops/9/report.pdf", 404, "no stop 9"),
        ("/routes/1/report.pdf?paper=a3", 400, "letter or a4"),
        ("/routes/1x/report.pdf", 404, "no such page"),
        ("/routes/99999999999999999999999/report.pdf", 404, "There is no route"),
        ("/routes/1/stops/-1/report.pdf", 404, "no such page"),
    ],
)
def test_what_is_not_there_is_told_in_a_sentence(client, folder, path, status, words) -> None:
    answer = client.get(path)
    assert answer.status_code == status
    assert words in answer.text
    assert str(folder) not in answer.text
    assert "Traceback" not in answer.text


def test_a_store_that_is_not_there_is_told_without_its_place(tmp_path) -> None:
    with TestClient(create_app(Site(tmp_path)), base_url="http://localhost") as client:
        answer = client.get("/routes/1/report.html")
    assert answer.status_code == 503
    assert str(tmp_path) not in answer.text


def test_reports_asked_for_at_once_all_come(client) -> None:
    found: list[int] = []

    def ask() -> None:
        found.append(client.get("/routes/1/report.html").status_code)

    threads = [threading.Thread(target=ask) for _ in range(3)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert found == [200, 200, 200]


def test_a_child_that_takes_too_long_is_ended(folder: Path) -> None:
    with pytest.raises(child.ReportError, match="took over"):
        own_loop.run(child.make, folder, 1, None, "html", None, 0.01)


def test_the_child_says_why_it_made_none(folder: Path, tmp_path: Path) -> None:
    with pytest.raises(NotFoundError, match="There is no route 3"):
        own_loop.run(child.make, folder, 3, None, "html")
    with pytest.raises(StoreError):
        own_loop.run(child.make, tmp_path, 1, None, "html")


def test_the_pages_process_never_loads_the_typesetter() -> None:
    """It would keep its memory for good, beside a daemon that needs the machine."""
    check = "import sys, flowlog.web.app; print('typst' in sys.modules)"
    done = subprocess.run(
        [sys.executable, "-c", check], check=True, capture_output=True, text=True, timeout=60
    )
    assert done.stdout.strip() == "False"
