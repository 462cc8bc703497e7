"""Shared by all tests: a test that needs a real service fails in CI where it would be skipped."""

from __future__ import annotations

import importlib.util
import logging
import os
import shutil
import signal
import sys
import threading
from pathlib import Path

import pytest
from hypothesis import settings

# No test judges by the clock: a busy machine takes its time over an example.
settings.register_profile("no deadline", deadline=None)
settings.load_profile("no deadline")

# A shell without job control starts what it puts into the background with SIGINT ignored, and
# every child inherits that: then no test of Ctrl-C could pass. A handler here undoes it.
if threading.current_thread() is threading.main_thread():
    signal.signal(signal.SIGINT, signal.default_int_handler)


@pytest.hookimpl(trylast=True)
def pytest_runtest_teardown():
    """A command that was run in this process sets up its log: the next test begins without."""
    top = logging.getLogger("flowlog")
    top.handlers.clear()
    top.propagate = True
    for name in ("flowlog", "flowlog.link", "flowlog.publish"):
        logging.getLogger(name).setLevel(logging.NOTSET)


def need(tool: str) -> str:
    """Path of a program, or skip visibly; under CI its absence is a failure."""
    found = shutil.which(tool) or shutil.which(tool, path="/usr/sbin:/sbin:/usr/local/sbin")
    if found is None:
        message = f"{tool} is not installed"
        if os.environ.get("CI"):
            pytest.fail(f"{message}, and CI must not skip")
        pytest.skip(message)
    return found


@pytest.fixture
def tool():
    """`tool("mosquitto")` gives the program's path or skips (fails under CI)."""
    return need


def _support(name: str):
    """A module of tests/support, by its path: the tests are no package."""
    full_name = f"flowlog_tests_{name}"
    if full_name not in sys.modules:
        path = Path(__file__).parent / "support" / f"{name}.py"
        spec = importlib.util.spec_from_file_location(full_name, path)
        module = importlib.util.module_from_spec(spec)
        sys.modules[full_name] = module
        spec.loader.exec_module(module)
    return sys.modules[full_name]


@pytest.fixture
def start_broker(tmp_path):
    """`start_broker(users=, acl=, certificates=, extra=)` gives a running Mosquitto of one's own.

    It is killed by its pid at the end of the test. See tests/support/mosquitto.py.
    """
    started = []

    def start(**settings):
        folder = tmp_path / f"broker{len(started)}"
        folder.mkdir()
        broker = _support("mosquitto").Mosquitto(need("mosquitto"), folder, **settings)
        started.append(broker)
        broker.start()
        return broker

    yield start
    for broker in started:
        broker.kill()


@pytest.fixture
def listen():
    """`listen(broker, pattern="#", user=, name=)` gives a subscriber that keeps what it hears."""
    listeners = []

    def begin(broker, *args, **settings):
        listener = _support("mosquitto").Listener(broker, *args, **settings)
        listeners.append(listener)
        return listener

    yield begin
    for listener in listeners:
        listener.close()
