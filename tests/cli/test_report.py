"""flowlog report, as somebody runs it."""

from __future__ import annotations

import io
import re
import sys
import time
from pathlib import Path

import pytest
from click.testing import CliRunner
from rich.console import Console

sys.path.insert(0, str(Path(__file__).parents[1] / "report"))

from pages import Reader, pdf_text
from reported import add_record, store_morning

from flowlog.cli import main
from flowlog.cli.progress import Progress


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    made = tmp_path_factory.mktemp("reported")
    store_morning(made)
    return made


@pytest.fixture
def run(folder: Path, tmp_path: Path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return lambda *words: CliRunner().invoke(main, ["report", *words, "--data", str(folder)])


def test_without_options_a_pdf_named_after_rig_and_route_is_put_here(run, tmp_path, tool) -> None:
    result = run()
    assert result.exit_code == 0, result.output
    assert "wrote demo-cart-route-1.pdf" in result.stderr
    content = (tmp_path / "demo-cart-route-1.pdf").read_bytes()
    text = pdf_text(tool("pdftotext"), content, tmp_path, "-layout")
    assert "Report of a route, Demo cart" in text
    assert "Page 1 of" in text


def test_a_stop_as_html_and_as_pdf_at_once(run, tmp_path) -> None:
    result = run("last", "--stop", "2", "--html", "a.html", "--pdf", "a.pdf", "--paper", "a4")
    assert result.exit_code == 0, result.output
    assert "Stop 2: Mill Lane 9" in Reader((tmp_path / "a.html").read_text("utf-8")).text
    assert (tmp_path / "a.pdf").read_bytes().startswith(b"%PDF-")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.html", "a.pdf"]


def test_the_paper_of_a_us_rig_is_letter_unless_another_is_asked_for(run, tmp_path, tool) -> None:
    sizes = []
    for words in ((), ("--paper", "a4")):
        content = run("last", "--pdf", "-", *words).stdout_bytes
        boxes = pdf_text(tool("pdftotext"), content, tmp_path, "-bbox")
        sizes.append(re.findall(r'<page width="([\d.]+)"', boxes)[0][:3])
    assert sizes == ["612", "595"]


def test_standard_output_holds_the_file_and_nothing_else(run, tmp_path) -> None:
    result = run("1", "--html", "-")
    assert result.stdout.startswith("<!DOCTYPE html>")
    assert result.stdout.endswith("</html>\n")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("words", "complaint"),
    [
        (("7",), "there is no route '7'"),
        (("last", "--stop", "9"), "route 1 has no stop 9 (it has stops 1 to 3)"),
        (("last", "--pdf", "none/such/a.pdf"), "cannot be written"),
        (("last", "--check", "beef"), "is no fingerprint (8 to 64 of the digits"),
    ],
)
def test_what_cannot_be_is_told_in_one_line(run, words, complaint) -> None:
    result = run(*words)
    assert result.exit_code == 2
    assert complaint in result.stderr
    assert len(result.stderr.strip().split("\n")) == 1


def test_a_fingerprint_is_held_against_the_data_now(tmp_path, monkeypatch) -> None:
    folder = tmp_path / "rig"
    folder.mkdir()
    store_morning(folder, calibrated=False)
    data = ["--data", str(folder)]
    page = Reader(CliRunner().invoke(main, ["report", "--html", "-", *data]).stdout).text
    print_of = re.findall(r"records\): ((?:[0-9a-f]{8} ?){8})", page)[0].strip()
    same = CliRunner().invoke(main, ["report", "last", "--check", print_of, *data])
    assert (same.exit_code, "is that of the report" in same.output) == (0, True)
    short = CliRunner().invoke(main, ["report", "last", "--check", print_of[:8], *data])
    assert short.exit_code == 0
    add_record(folder, 1)
    other = CliRunner().invoke(main, ["report", "last", "--check", print_of, *data])
    assert other.exit_code == 1
    assert "not that of the report any more" in other.output


def test_without_the_typesetter_the_html_is_named_as_the_way_out(run, monkeypatch) -> None:
    monkeypatch.setitem(sys.modules, "typst", None)
    result = run("last", "--pdf", "a.pdf")
    assert result.exit_code == 2
    assert "typst" in result.stderr
    assert "take the HTML" in result.stderr
    assert run("last", "--html", "-").exit_code == 0


def shown(wait_s: float, working_s: float, *, terminal: bool) -> str:
    out = io.StringIO()
    console = Console(file=out, force_terminal=terminal, width=60)
    with Progress(console, wait_s) as progress:
        progress.says("reading the route")
        time.sleep(working_s)
    progress.done()
    return out.getvalue()


def test_who_waits_is_told_what_for_and_who_does_not_wait_is_not() -> None:
    assert "reading the route" in shown(0.0, 0.3, terminal=True)
    assert shown(600.0, 0.0, terminal=True) == ""
    assert shown(0.0, 0.3, terminal=False) == ""


def test_who_waits_for_a_route_that_is_derived_anew_sees_how_far_it_is(tmp_path, monkeypatch):
    folder, said = tmp_path / "rig", []
    folder.mkdir()
    store_morning(folder, calibrated=False)
    data = ["--data", str(folder)]
    assert CliRunner().invoke(main, ["correct", "1", *data, "--rig-file-only"]).exit_code == 0
    for kept in (folder / "derived").iterdir():
        kept.unlink()  # as after an update: another version's counts for nothing
    monkeypatch.setattr(Progress, "says", lambda _, text: said.append(text))
    assert CliRunner().invoke(main, ["report", "1", "--html", "-", *data]).exit_code == 0
    assert sum(text.startswith("deriving the route anew, ") for text in said) > 2
    assert "deriving the route anew, 100 %" in said
