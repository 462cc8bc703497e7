"""An outbox in memory or in a file of its own, in place of the store, and quick publishers."""

from __future__ import annotations

import json
import sqlite3
import time
from dataclasses import dataclass

import pytest

from flowlog.publish.publisher import Publisher
from flowlog.rig.model import Broker


@dataclass(frozen=True)
class Row:
    id: int
    topic: str
    payload: bytes
    retain: bool = False


class Outbox:
    """Rows leave it when the broker has taken or for good refused them, as in the daemon."""

    def __init__(self, path=":memory:"):
        self.path = str(path)
        self.db = sqlite3.connect(self.path, isolation_level=None, timeout=10)
        self.db.execute(
            "create table if not exists outbox"
            " (id integer primary key autoincrement, topic text, payload blob)"
        )
        self.refused = []

    def add(self, topic, uid):
        payload = json.dumps({"id": uid}).encode()
        self.db.execute("insert into outbox (topic, payload) values (?, ?)", (topic, payload))

    def rows(self, limit=1000):
        found = self.db.execute("select * from outbox order by id limit ?", (limit,))
        return [Row(*each) for each in found]

    def __len__(self):
        return self.db.execute("select count(*) from outbox").fetchone()[0]

    def exchange(self, publisher):
        """One round of the daemon: delete what is done, offer what is left."""
        refused = publisher.take_refused()
        self.refused += refused
        done = publisher.take_acknowledged() + [each.id for each in refused]
        self.db.executemany("delete from outbox where id = ?", [(number,) for number in done])
        publisher.offer(self.rows())

    def drain(self, publisher, patience_s=20.0):
        deadline = time.monotonic() + patience_s
        while len(self):
            assert time.monotonic() < deadline, f"{len(self)} rows left, {publisher.state()}"
            self.exchange(publisher)
            time.sleep(0.01)


@pytest.fixture
def outbox():
    return Outbox()


@pytest.fixture
def outbox_in():
    """`outbox_in(path)` opens an outbox in a file."""
    return Outbox


@pytest.fixture
def publish_to():
    """`publish_to(broker, user=, ...)` gives a started publisher with short pauses."""
    made = []

    def begin(broker, rig="cart", client_id=None, delays_s=(0.05, 0.2), **settings):
        settings.setdefault("settle_s", 0.2)
        timing = {
            name: settings.pop(name)
            for name in ("refused_delay_s", "refusal_delays_s", "settle_s")
            if name in settings
        }
        port = settings.pop("port", None) or broker.port
        made.append(
            Publisher(
                Broker(settings.pop("host", "127.0.0.1"), port, **settings),
                rig,
                client_id,
                delays_s=delays_s,
                **timing,
            )
        )
        made[-1].start()
        return made[-1]

    yield begin
    for publisher in made:
        publisher.stop(1.0)


@pytest.fixture
def until():
    """`until(condition)` waits for it and gives its value."""

    def wait(condition, patience_s=20.0):
        deadline = time.monotonic() + patience_s
        while not (value := condition()):
            assert time.monotonic() < deadline, "waited in vain"
            time.sleep(0.01)
        return value

    return wait
