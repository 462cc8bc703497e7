"""What every request may need to know: the folder of the rig, and who may look."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import cast

from starlette.requests import Request

from flowlog.store.archive import Archive
from flowlog.web.access import Access


@dataclass(frozen=True, slots=True)
class Site:
    """One rig's pages."""

    folder: Path
    """The rig's data folder."""
    access: Access | None = None
    """Who may look; None where only this machine can reach the pages."""
    names: frozenset[str] = field(default=frozenset({"localhost", "127.0.0.1", "::1"}))
    """Hosts by which the pages may be asked for, without port, lower case."""
    any_address: bool = False
    """Whether any numeric address may stand in their place (where the pages listen on all)."""

    def archive(self) -> Archive:
        """The store, opened for one request; use as a context manager and keep it short.

        Raises:
            StoreMissingError: nothing was ever logged; the page then says so.
        """
        return Archive.open(self.folder)


def site_of(request: Request) -> Site:
    return cast("Site", request.app.state.site)
