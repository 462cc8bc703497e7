"""How sure something is stands behind one sign: on pages ±, on terminals what all can show."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

sys.path.insert(0, str(Path(__file__).parents[1] / "report"))

from reported import add_record, store_morning
from support.pages import loopback

from flowlog.cli import main


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    """Two routes, the second of which was calibrated otherwise, and a record."""
    made = tmp_path_factory.mktemp("rig")
    store_morning(made, calibrated=False)
    store_morning(made)
    add_record(made, 1)
    return made


@pytest.mark.parametrize("path", ["/routes/1", "/routes/2", "/season", "/compare?a=1&b=2"])
def test_pages_have_the_sign(folder, path):
    text = loopback(folder).get(path).text
    assert "+-" not in text
    assert ("±" in text) == path.startswith("/routes")


@pytest.mark.parametrize(
    "words", [("report", "2", "--html", "-"), ("sheet", "show", "1", "--html", "-")]
)
def test_paper_has_the_sign(folder, words):
    done = CliRunner().invoke(main, [*words, "--data", str(folder)])
    assert done.exit_code == 0, done.output
    assert "±" in done.stdout
    assert "+-" not in done.stdout


@pytest.mark.parametrize("words", [("review", "2"), ("sheet", "show", "1")])
def test_terminals_have_what_every_terminal_can_show(folder, words):
    done = CliRunner().invoke(main, [*words, "--data", str(folder)])
    assert done.exit_code == 0, done.output
    assert "+-" in done.stdout
    assert "±" not in done.stdout
