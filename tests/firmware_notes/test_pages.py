"""The pages for builders: alerts, commands and links on them exist, and they name no product."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from click.testing import CliRunner

from flowlog.cli import main
from flowlog.daemon.codes import CODES as DAEMON_CODES
from flowlog.monitor.codes import CODES as MONITOR_CODES

FOLDER = Path(__file__).parents[2] / "firmware-notes"
CHECKS = (FOLDER / "bench-checks.md").read_text("utf-8")
TITLES = {code.title for code in (*MONITOR_CODES.values(), *DAEMON_CODES.values())}


def test_each_alert_on_the_bench_page_is_one_that_flowlog_can_give():
    bold = set(re.findall(r"\*\*([A-Z][^*]+)\*\*", CHECKS))
    assert len(bold) >= 12
    assert bold <= TITLES, bold - TITLES


@pytest.mark.parametrize("page", sorted(FOLDER.glob("*.md")), ids=lambda p: p.name)
def test_links_between_the_pages_lead_somewhere(page: Path):
    for target in re.findall(r"\]\(([^)#]+)", page.read_text("utf-8")):
        assert (page.parent / target).exists(), target


def test_each_command_on_the_bench_page_has_its_options():
    commands = re.findall(r"flowlog (record|replay|run|watch|board check)\b([^`\n]*)", CHECKS)
    assert {name for name, _ in commands} == {"record", "replay", "run", "watch", "board check"}
    for name, rest in commands:
        help_text = CliRunner().invoke(main, [*name.split(), "--help"]).output
        for option in re.findall(r"--[a-z]+", rest):
            assert option in help_text, f"flowlog {name} has no {option}"
