"""What the README and the contributor guide say is so."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from flowlog.cli import COMMANDS

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
GUIDE = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


def test_every_command_that_the_readme_names_exists():
    named = set(re.findall(r"`?(?:\.venv/bin/)?flowlog ([a-z]+)[ `\n]", README)) - {
        "watches",
        "reads",
    }
    assert named <= set(COMMANDS), named - set(COMMANDS)


def test_every_command_is_in_the_readme():
    for name in COMMANDS:
        assert f"flowlog {name}" in README, name


@pytest.mark.parametrize("text", [README, GUIDE], ids=["README", "DEVELOPERS"])
def test_every_file_that_is_linked_exists(text):
    for link in re.findall(r"\]\(([^)#]+)\)", text):
        assert (ROOT / link).exists(), link


def test_every_folder_of_the_package_is_in_the_contributor_guide():
    folders = [
        path.name for path in (ROOT / "flowlog").iterdir() if (path / "__init__.py").exists()
    ]
    for name in folders:
        assert f"`{name}" in GUIDE, name


def test_the_readme_says_what_must_be_said_first():
    first = README.split("\n\n")[1]
    assert first.startswith("flowlog watches the output of a small boom sprayer")
    assert "The label is the law" in README


def test_the_top_level_holds_what_the_project_fixes():
    allowed = {"README.md", "DEVELOPERS.md", "LICENSE", "pyproject.toml", "requirements.lock"}
    allowed |= {"flowlog", "firmware-notes", "tests", "systemd", "dist", "build"}
    found = {path.name for path in ROOT.iterdir() if not path.name.startswith(".")}
    assert found <= allowed | {"flowlog-demo"}, found - allowed
