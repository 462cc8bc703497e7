"""Starts the board, unless the service pin is pulled to ground."""

import settings
from flowboard.hardware import Hardware, in_service
from flowboard.loop import run

if not in_service(settings):
    run(Hardware(settings), settings)
