"""The command line as a whole: fast, honest about errors, documented."""

from __future__ import annotations

import subprocess
import sys

import click
import pytest
from click.testing import CliRunner

from flowlog.cli import COMMANDS, main
from flowlog.errors import FlowlogError

HEAVY = ("numpy", "pint", "sqlalchemy", "alembic", "paho", "serial", "rich", "tomlkit")


def loaded_by(code: str) -> set[str]:
    program = f"import sys\n{code}\nprint('\\n'.join(sys.modules))"
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True
    )
    return {name.split(".")[0] for name in done.stdout.split()}


def test_help_loads_nothing_heavy():
    code = "from flowlog.cli import main\nmain(['--help'], standalone_mode=False)"
    assert not set(HEAVY) & loaded_by(code)


def test_the_daemon_loads_no_migrations_plots_or_science_libraries():
    loaded = loaded_by("import flowlog.cli.run, flowlog.daemon.service")
    assert not {"alembic", "scipy", "pandas", "matplotlib", "wntr", "rich"} & loaded


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_explains_itself(name):
    result = CliRunner().invoke(main, [name, "--help"])
    assert result.exit_code == 0, result.output
    assert len(result.output.splitlines()) > 4


@pytest.mark.parametrize("name", COMMANDS)
def test_every_option_has_a_help_text(name):
    command = main.get_command(click.Context(main), name)
    assert command is not None
    for parameter in command.params:
        if isinstance(parameter, click.Option):
            assert parameter.help, f"flowlog {name} {parameter.opts[0]}"


def test_a_users_error_is_one_line_and_exit_code_two(monkeypatch):
    @click.command()
    def broken() -> None:
        raise FlowlogError("rig.toml:3: boom.tips: -1 is not a number of tips")

    monkeypatch.setattr(main, "get_command", lambda *_: broken)
    result = CliRunner().invoke(main, ["rig"])
    assert result.exit_code == 2
    assert result.stderr == "flowlog: rig.toml:3: boom.tips: -1 is not a number of tips\n"


def test_an_unknown_command_is_named(monkeypatch):
    result = CliRunner().invoke(main, ["spray"])
    assert result.exit_code == 2
    assert "spray" in result.stderr
