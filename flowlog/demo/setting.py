"""The demonstration's folder, its rig file, and the commands that run in it."""

from __future__ import annotations

import shlex
import shutil
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import tomlkit

from flowlog.errors import FlowlogError
from flowlog.simulator.scenario import find_scenario

SCENARIO: Final = "morning"
_MOST_FOLDERS: Final = 1000


class DemoError(FlowlogError):
    """The demonstration cannot begin."""


@dataclass(frozen=True, slots=True)
class Setting:
    """Where everything is."""

    folder: Path

    @property
    def rig_file(self) -> Path:
        return self.folder / "rig.toml"

    @property
    def data(self) -> Path:
        return self.folder / "data"

    @property
    def port(self) -> Path:
        return self.folder / "board"

    @property
    def truth(self) -> Path:
        return self.folder / "truth.json"

    def log(self, name: str) -> Path:
        return self.folder / f"{name}.log"


def make_folder(wanted: Path | None) -> Path:
    """Make the folder: the wanted one, or ./flowlog-demo, or ./flowlog-demo-2 and so on.

    Raises:
        DemoError: it is there already and not empty, or cannot be made.
    """
    if wanted is not None:
        try:
            wanted.mkdir(parents=True, exist_ok=True)
            if any(wanted.iterdir()):
                raise DemoError(
                    f"{wanted}: is not empty (name a folder that is not there yet with --folder)"
                )
        except OSError as error:
            raise _not_made(wanted, error) from error
        return wanted.absolute()
    for number in range(1, _MOST_FOLDERS):
        folder = Path("flowlog-demo" if number == 1 else f"flowlog-demo-{number}").absolute()
        try:
            folder.mkdir()
        except FileExistsError:
            continue
        except OSError as error:
            raise _not_made(folder, error) from error
        return folder
    raise DemoError("flowlog-demo: 1000 of these folders are here already (remove some)")


def _not_made(folder: Path, error: OSError) -> DemoError:
    return DemoError(
        f"{folder}: cannot be made: {error.strerror} (name another place with --folder)"
    )


def write_rig(setting: Setting, broker: str | None) -> None:
    """The scenario's own rig, with the demonstration's port, data folder and broker.

    Args:
        broker: HOST or HOST:PORT; None for no broker.
    """
    text = find_scenario(SCENARIO).with_name("rig.toml").read_text(encoding="utf-8")
    rig = tomlkit.parse(text)
    rig["rig"]["data_folder"] = str(setting.data)
    rig["board"]["port"] = str(setting.port)
    if broker:
        host, port = host_and_port(broker)
        table = tomlkit.table()
        table["host"] = host
        if port is not None:
            table["port"] = port
        rig["broker"] = table
    setting.rig_file.write_text(tomlkit.dumps(rig), encoding="utf-8")


def host_and_port(broker: str) -> tuple[str, int | None]:
    """Split HOST or HOST:PORT; an IPv6 address with a port stands in square brackets.

    Raises:
        DemoError: it is neither.
    """
    host, colon, port = broker.rpartition(":")
    if not colon or "]" in port or (":" in host and not host.startswith("[")):
        return broker.strip("[]"), None
    if not port.isdecimal() or not 1 <= int(port) <= 65535 or not host:
        raise DemoError(f"--broker {broker}: is not HOST or HOST:PORT, for instance localhost:1883")
    return host.strip("[]"), int(port)


def flowlog_words() -> list[str]:
    """How this program is called, for commands that a person is to type again."""
    called = sys.argv[0]
    if Path(called).name == "flowlog":
        on_path = shutil.which("flowlog")
        if on_path is not None and Path(on_path).resolve() == Path(called).resolve():
            return ["flowlog"]
        return [called]
    return [sys.executable, "-m", "flowlog"]


def typed(*arguments: str | Path) -> str:
    """A command line to type, with what needs quotes in quotes."""
    return shlex.join([*flowlog_words(), *(_short(argument) for argument in arguments)])


def _short(argument: str | Path) -> str:
    """A path relative to where the person stands, if it lies below."""
    if isinstance(argument, Path) and argument.is_relative_to(Path.cwd()):
        return str(argument.relative_to(Path.cwd()))
    return str(argument)
