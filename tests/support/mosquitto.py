"""A real Mosquitto as a child process: own folder, random loopback port, killed by its pid.

Loaded by path from `tests/conftest.py`, which gives it to tests as the fixture `start_broker`.
"""

from __future__ import annotations

import json
import shutil
import socket
import subprocess
import threading
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties


class Mosquitto:
    """One broker. `kill` and `start` again keep its port, its folder and what it had saved."""

    def __init__(
        self,
        program: str,
        folder: Path,
        users: Mapping[str, str] | None = None,
        acl: str | None = None,
        certificates: tuple[Path, Path] | None = None,
        extra: str = "",
    ) -> None:
        self.program = program
        self.folder = folder
        self.users = dict(users or {})
        self.acl = acl
        self.certificates = certificates
        self.extra = extra
        self.port = 0
        self.process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        """Start it and wait until it answers; another port if the first one was taken."""
        for _ in range(5):
            port = self.port or _free_port()
            log = self.folder / "mosquitto.log"
            with log.open("ab") as sink:
                self.process = subprocess.Popen(
                    [self.program, "-c", str(self._configure(port))],
                    stdin=subprocess.DEVNULL,
                    stdout=sink,
                    stderr=sink,
                )
            if self._answers(port):
                self.port = port
                return
            self.kill()
        raise RuntimeError(f"mosquitto does not start: {log.read_text()[-500:]}")

    def kill(self) -> None:
        """SIGKILL, as a power cut would."""
        if self.process is not None:
            self.process.kill()
            self.process.wait(10)
            self.process = None

    def has_saved(self, text: str) -> bool:
        """Whether `text` (a subscription, say) stands in what the broker keeps on disk."""
        saved = self.folder / "mosquitto.db"
        return saved.exists() and text.encode() in saved.read_bytes()

    def reload(self) -> None:
        """Read the access list again."""
        assert self.process is not None
        self.process.send_signal(1)

    def allow(self, acl: str) -> None:
        """Replace the access list of the running broker."""
        (self.folder / "acl").write_text(acl)
        self.reload()

    def _configure(self, port: int) -> Path:
        lines = [
            f"listener {port} 127.0.0.1",
            "user root",  # or it drops to another user and cannot read a private folder
            "persistence true",
            f"persistence_location {self.folder}/",
            "autosave_interval 1",
            "autosave_on_changes true",
            "max_queued_messages 100000",
            f"allow_anonymous {'false' if self.users else 'true'}",
        ]
        if self.users:
            passwords = self.folder / "passwords"
            if not passwords.exists():
                passwords.write_text("".join(f"{u}:{p}\n" for u, p in self.users.items()))
                hasher = shutil.which("mosquitto_passwd") or "/usr/bin/mosquitto_passwd"
                subprocess.run([hasher, "-U", str(passwords)], check=True, capture_output=True)
            lines.append(f"password_file {passwords}")
        if self.acl is not None:
            access = self.folder / "acl"
            if not access.exists():
                access.write_text(self.acl)
            lines.append(f"acl_file {access}")
        if self.certificates is not None:
            certificate, key = self.certificates
            lines += [f"certfile {certificate}", f"keyfile {key}"]
        path = self.folder / "mosquitto.conf"
        path.write_text("\n".join([*lines, self.extra, ""]))
        return path

    def _answers(self, port: int) -> bool:
        deadline = time.monotonic() + 10
        while time.monotonic() < deadline:
            assert self.process is not None
            if self.process.poll() is not None:
                return False
            try:
                socket.create_connection(("127.0.0.1", port), 1).close()
            except OSError:
                time.sleep(0.01)
            else:
                # Somebody else may have the port and answer in its place.
                time.sleep(0.02)
                return self.process.poll() is None
        return False


class Listener:
    """A subscriber with a persistent session, so that it misses nothing while it is cut off."""

    def __init__(
        self,
        broker: Mosquitto,
        pattern: str = "#",
        user: str | None = None,
        name: str = "listener",
        persistent: bool = True,
    ) -> None:
        self.heard: list[tuple[str, dict[str, Any], bool]] = []
        """Topic, payload, and whether it was a retained one."""
        self._pattern = pattern
        self._changed = threading.Condition()
        self._subscribed = threading.Event()
        client = mqtt.Client(CallbackAPIVersion.VERSION2, client_id=name, protocol=mqtt.MQTTv5)
        if user is not None:
            client.username_pw_set(user, broker.users[user])
        client.reconnect_delay_set(1, 1)
        client.on_connect = lambda c, *_: c.subscribe(self._pattern, qos=1)
        client.on_subscribe = lambda *_: self._subscribed.set()
        client.on_message = self._hear
        session = Properties(PacketTypes.CONNECT)
        session.SessionExpiryInterval = 3600 if persistent else 0
        client.connect("127.0.0.1", broker.port, clean_start=not persistent, properties=session)
        client.loop_start()
        self._client = client
        assert self._subscribed.wait(10), "the broker did not confirm the subscription"

    def payloads(self, what: str) -> list[dict[str, Any]]:
        """Payloads whose topic ends with `what`, in the order of arrival."""
        with self._changed:
            return [payload for topic, payload, _ in self.heard if topic.endswith(f"/{what}")]

    def wait(self, reached: Callable[[], Any], patience_s: float = 20.0) -> Any:
        """Wait until `reached()` is true after some message, and give its value."""
        deadline = time.monotonic() + patience_s
        while not (value := reached()):
            left = deadline - time.monotonic()
            assert left > 0, f"waited in vain; heard {self.heard[-3:]}"
            with self._changed:
                self._changed.wait(min(left, 0.05))
        return value

    def close(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()

    def _hear(self, _client: Any, _data: Any, message: mqtt.MQTTMessage) -> None:
        with self._changed:
            self.heard.append((message.topic, json.loads(message.payload), message.retain))
            self._changed.notify_all()


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port
