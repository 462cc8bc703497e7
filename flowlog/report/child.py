"""A report made in a process of its own, for a server that must stay small.

A day's readings and the typesetter take some hundred megabytes for a moment; the child gives
them back by ending. It runs below other work, so that no reading waits for a page.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import time
from enum import IntEnum
from pathlib import Path
from typing import Final, Literal

import anyio

from flowlog.errors import FlowlogError
from flowlog.report.pdf import Paper, PdfError, pdf, usual_paper
from flowlog.review.find import NotFoundError
from flowlog.store.errors import StoreError

Kind = Literal["html", "pdf"]

PATIENCE_S: Final = 120.0


class _Status(IntEnum):
    NOT_FOUND = 4
    NO_STORE = 5
    NO_PDF = 6


class ReportError(FlowlogError):
    """The report could not be made; for the log of the server."""


async def make(
    folder: Path,
    number: int,
    stop: int | None,
    kind: Kind,
    paper: Paper | None = None,
    patience_s: float = PATIENCE_S,
) -> bytes:
    """The file's bytes.

    Args:
        folder: the rig's data folder.
        number: of the route, as `flowlog review` counts.
        stop: of it, or None for the whole route.
        paper: of a PDF; None for the usual one of the rig's units.
        patience_s: after this the child is ended, as it is when the caller is.

    Raises:
        NotFoundError: there is no such route or stop.
        StoreError: the store cannot be read.
        PdfError: there is no typesetter here.
        ReportError: anything else.
    """
    # -P: not from the folder that the server happens to stand in.
    words = [sys.executable, "-P", "-m", "flowlog.report.child", kind, str(number)]
    words += ["--folder", str(folder)]
    words += [] if stop is None else ["--stop", str(stop)]
    words += [] if paper is None else ["--paper", paper]
    try:
        with anyio.fail_after(patience_s):
            done = await anyio.run_process(words, stdin=subprocess.DEVNULL, check=False)
    except TimeoutError as error:
        raise ReportError(f"the report of route {number} took over {patience_s:.0f} s") from error
    except OSError as error:
        raise ReportError(f"no report can be made: {error.strerror}") from error
    if done.returncode == 0:
        return done.stdout
    said = done.stderr.decode(errors="replace").strip().rpartition("\n")[2]
    match done.returncode:
        case _Status.NOT_FOUND:
            raise NotFoundError(said)
        case _Status.NO_STORE:
            raise StoreError(said)
        case _Status.NO_PDF:
            raise PdfError(said)
        case other:
            raise ReportError(f"the report of route {number} failed with {other}: {said}")


def main() -> int:
    """Write the report to standard output; the exit status says what was wrong."""
    parser = argparse.ArgumentParser(prog="flowlog.report.child")
    parser.add_argument("kind", choices=["html", "pdf"])
    parser.add_argument("number", type=int)
    parser.add_argument("--folder", type=Path, required=True)
    parser.add_argument("--stop", type=int)
    parser.add_argument("--paper", choices=["letter", "a4"])
    wanted = parser.parse_args()
    os.nice(10)
    try:
        sys.stdout.buffer.write(_made(wanted))
        sys.stdout.buffer.flush()
    except (NotFoundError, StoreError, PdfError) as error:
        sys.stderr.write(f"{error}\n")
        status = {NotFoundError: _Status.NOT_FOUND, PdfError: _Status.NO_PDF}
        return status.get(type(error), _Status.NO_STORE)
    return 0


def _made(wanted: argparse.Namespace) -> bytes:
    from flowlog.report.content import document_of
    from flowlog.report.gather import gather
    from flowlog.report.html import html
    from flowlog.store.archive import Archive

    with Archive.open(wanted.folder) as archive:
        count = len(archive.routes())
        if not 1 <= wanted.number <= count:
            raise NotFoundError(f"There is no route {wanted.number} (there are {count}).")
        source = gather(archive, str(wanted.number), wanted.stop)
    made_us = time.time_ns() // 1000
    document = document_of(source, made_us)
    if wanted.kind == "html":
        return html(document).encode()
    return pdf(document, wanted.paper or usual_paper(source.review.rig.units), made_us)


if __name__ == "__main__":
    sys.exit(main())
