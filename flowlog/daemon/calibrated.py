"""Which calibrations the routes are watched with, and when newer ones are taken up.

A route keeps those that it began with, also through restarts: its readings must come from one
calibration. Newer ones begin a new route, as soon as the boom is shut and nobody calibrates on.
"""

from __future__ import annotations

import logging
from pathlib import Path
from typing import Final

from flowlog.calibrating import inuse
from flowlog.calibrating.words import in_one_line
from flowlog.monitor.outputs import Phase
from flowlog.rig.model import Rig
from flowlog.store.archive import Archive
from flowlog.store.errors import StoreError, StoreMissingError

log = logging.getLogger(__name__)

TAKE_UP_US: Final = 30_000_000
"""Between the last calibration and the new route: several are often stored one after another."""


class Calibrations:
    """See the module. Reads the store, never writes it."""

    def __init__(self, rig: Rig, folder: Path) -> None:
        self._rig = rig
        self._folder = folder
        self._known = inuse.InUse(rig)
        self._newer_us: int | None = None

    def newest(self) -> inuse.InUse:
        """For a route that begins now. What was known last, while the store cannot be read."""
        try:
            with Archive.open(self._folder) as archive:
                self._known = inuse.choose(self._rig, archive.calibrations(slug=self._rig.slug))
        except StoreMissingError:
            self._known = inuse.InUse(self._rig)
        except StoreError as error:
            log.warning("the calibrations cannot be read, the last known ones stay: %s", error)
        self._newer_us = None
        _tell(self._known, self._rig)
        return self._known

    def of_route(self, route_id: int, now_us: int) -> inuse.InUse:
        """For a route that goes on after a restart: exactly what it began with.

        Raises:
            StoreError: the store cannot be read.
        """
        with Archive.open(self._folder) as archive:
            began_with = inuse.choose(self._rig, archive.route_calibrations(route_id))
            newest = inuse.choose(self._rig, archive.calibrations(slug=self._rig.slug))
        if newest.ids != began_with.ids:
            self.came(now_us)
        self._known = began_with
        _tell(began_with, self._rig)
        return began_with

    def came(self, now_us: int) -> None:
        """A new calibration is on its way into the store."""
        self._newer_us = now_us

    def due(self, now_us: int, phase: Phase | None) -> bool:
        """Whether a new route should begin now, because there are newer calibrations."""
        if self._newer_us is None or phase not in (None, "off"):
            return False
        return now_us - self._newer_us >= TAKE_UP_US


def _tell(in_use: inuse.InUse, rig: Rig) -> None:
    log.info("watching with %s", in_one_line(in_use, rig.units))
    for reason in in_use.passed_over:
        log.warning("%s", reason)
