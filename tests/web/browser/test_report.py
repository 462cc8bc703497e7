"""A report in a real browser: read on a phone, printed, saved from a page."""

from __future__ import annotations

import sys
import threading
from pathlib import Path

import pytest
from support.phone import LAPTOP, PHONE, serious_issues

sys.path.insert(0, str(Path(__file__).parents[2] / "report"))

from pages import pdf_text
from reported import add_record, store_morning
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response
from starlette.routing import Route

from flowlog.web.app import create_app
from flowlog.web.server import bound
from flowlog.web.site import Site
from flowlog.web.static import static_url

LINKS = """<!doctype html><html lang="en"><head><meta charset="utf-8"><title>links</title>
<link rel="icon" href="{icon}"></head>
<body><main><h1>Links</h1>
<a data-report id="pdf" href="/routes/1/report.pdf">PDF</a>
<a data-report id="none" href="/routes/9/report.pdf">PDF of a route that is not there</a>
<a data-report id="html" href="/routes/1/stops/2/report.html">HTML</a>
<p role="status" data-report-status hidden></p></main>
<script type="module" src="{script}"></script></body></html>"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    made = tmp_path_factory.mktemp("reported")
    store_morning(made, named=("Park", '<img src=x onerror="alert(1)">', "w" * 150))
    add_record(made)
    return made


@pytest.fixture(scope="module")
def address(folder: Path):
    app = create_app(Site(folder))

    def links(_: Request) -> Response:
        return HTMLResponse(
            LINKS.replace("{script}", static_url("report.js")).replace(
                "{icon}", static_url("icon.svg")
            )
        )

    app.router.routes.append(Route("/links", links))
    with serving(app) as found:
        yield found


class serving:  # noqa: N801
    """The pages on a free port, in a thread."""

    def __init__(self, app) -> None:
        import uvicorn

        self._socket = bound("127.0.0.1", 0)
        self._server = uvicorn.Server(uvicorn.Config(app, log_config=None, ws="none"))
        self._thread = threading.Thread(target=self._server.run, args=([self._socket],))

    def __enter__(self) -> str:
        self._thread.start()
        return f"http://127.0.0.1:{self._socket.getsockname()[1]}"

    def __exit__(self, *_: object) -> None:
        self._server.should_exit = True
        self._thread.join(10)
        self._socket.close()


@pytest.mark.parametrize("size", [PHONE, LAPTOP])
def test_a_report_is_read_without_faults_and_without_other_files(
    open_phone, address, size, folder
) -> None:
    phone = open_phone(size)
    phone.page.goto(f"{address}/routes/1/report.html")
    assert phone.asked == [f"{address}/routes/1/report.html"]
    assert phone.overflow()[1] <= 0
    assert "<img src=x onerror=" in phone.text("main")


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_a_report_has_no_serious_accessibility_issue(open_phone, address, tmp_path, scheme) -> None:
    phone = open_phone(PHONE, scheme)
    # Its own policy runs no script, the judge's neither: so it is looked at as a saved file.
    saved = tmp_path / "report.html"
    saved.write_bytes(phone.page.request.get(f"{address}/routes/1/report.html").body())
    phone.page.goto(saved.as_uri())
    assert serious_issues(phone.page) == []


def test_a_printed_report_numbers_its_pages(open_phone, address, tool, tmp_path) -> None:
    phone = open_phone(LAPTOP)
    phone.page.goto(f"{address}/routes/1/report.html")
    text = pdf_text(tool("pdftotext"), phone.page.pdf(format="A4"), tmp_path, "-layout")
    pages = text.split("\f")[:-1]
    assert len(pages) >= 2
    for number, page in enumerate(pages, 1):
        assert f"Page {number} of {len(pages)}" in page
        assert "flowlog report, route 1, data" in page


def test_a_pdf_is_saved_from_a_page_that_says_that_it_is_coming(open_phone, address) -> None:
    phone = open_phone(PHONE)
    phone.page.goto(f"{address}/links")
    with phone.page.expect_download(timeout=30_000) as coming:
        phone.page.click("#pdf")
        phone.wait_for("document.querySelector('[role=status]').textContent.includes('made')", 5)
    assert coming.value.suggested_filename == "route-1.pdf"
    assert Path(coming.value.path()).read_bytes().startswith(b"%PDF-")
    phone.wait_for("document.querySelector('[role=status]').textContent.includes('saved')", 5)


def test_a_report_that_cannot_be_made_is_told_on_the_page(open_phone, address) -> None:
    phone = open_phone(PHONE)
    phone.page.goto(f"{address}/links")
    phone.page.click("#none")
    phone.wait_for("document.querySelector('[role=status]').textContent.includes('not be')", 15)
    assert phone.page.url == f"{address}/links"
    phone.complaints.clear()  # the browser itself notes the answer 404


def test_a_link_to_the_html_goes_there(open_phone, address) -> None:
    phone = open_phone(PHONE)
    phone.page.goto(f"{address}/links")
    phone.page.click("#html")
    phone.page.wait_for_url("**/report.html", timeout=20_000)
    assert phone.text("h1").startswith("Stop 2:")


def test_the_page_of_a_route_leads_to_its_reports(open_phone, address) -> None:
    phone = open_phone(PHONE)
    phone.page.goto(f"{address}/routes/1")
    with phone.page.expect_download(timeout=30_000) as coming:
        phone.page.click("text=Report as PDF")
    assert coming.value.suggested_filename == "route-1.pdf"
    phone.wait_for(
        "document.querySelector('[data-report-status]').textContent.includes('saved')", 5
    )
    phone.page.click("a[href='/routes/1/stops/1/report.html']")
    phone.page.wait_for_url("**/stops/1/report.html", timeout=20_000)
    assert phone.text("h1") == "Stop 1: Park"
