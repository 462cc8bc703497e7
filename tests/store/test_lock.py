"""One daemon for one folder."""

from __future__ import annotations

import fcntl
import os
import subprocess
import sys
import threading
from pathlib import Path

import pytest
from support.storing import RIG, RIG_TEXT

from flowlog.store.archive import Archive
from flowlog.store.errors import StoreBusyError
from flowlog.store.lock import LOCK_FILE, FolderLock, is_locked
from flowlog.store.recorder import Recorder


def test_a_second_daemon_is_told_who_has_the_folder(recorder: Recorder, tmp_path: Path) -> None:
    with pytest.raises(StoreBusyError, match=f"process {os.getpid()} already"):
        Recorder.open(tmp_path, RIG, RIG_TEXT)


def test_the_folder_is_free_again_after_closing(recorder: Recorder, tmp_path: Path) -> None:
    recorder.close()
    recorder.close()
    Recorder.open(tmp_path, RIG, RIG_TEXT).close()


def test_looking_at_the_lock_and_reading_do_not_loosen_it(
    recorder: Recorder, tmp_path: Path
) -> None:
    assert is_locked(tmp_path)
    Archive.open(tmp_path).close()
    assert is_locked(tmp_path)
    with pytest.raises(StoreBusyError):
        FolderLock(tmp_path)


def test_a_killed_holder_holds_no_longer(tmp_path: Path) -> None:
    script = (
        "import sys, time; from pathlib import Path; from flowlog.store.lock import FolderLock; "
        "lock = FolderLock(Path(sys.argv[1])); print('held', flush=True); time.sleep(60)"
    )
    holder = subprocess.Popen([sys.executable, "-c", script, str(tmp_path)], stdout=subprocess.PIPE)
    try:
        assert holder.stdout is not None
        assert holder.stdout.readline() == b"held\n"
        with pytest.raises(StoreBusyError, match=f"process {holder.pid} "):
            FolderLock(tmp_path)
    finally:
        holder.kill()
        holder.communicate()
    FolderLock(tmp_path).release()


def test_who_only_looks_does_not_keep_a_daemon_from_starting(tmp_path):
    FolderLock(tmp_path).release()
    # What `is_locked` does, but slowly.
    looking = os.open(tmp_path / LOCK_FILE, os.O_RDONLY)
    fcntl.flock(looking, fcntl.LOCK_SH)
    done = threading.Timer(0.03, os.close, (looking,))
    done.start()
    FolderLock(tmp_path).release()
    done.join()
