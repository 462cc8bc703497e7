"""An address as a picture for a phone's camera, drawn in a terminal."""

from __future__ import annotations

import io

import segno


def lines(text: str, *, coloured: bool = False) -> list[str]:
    """A QR code in half blocks, with its quiet zone.

    Args:
        coloured: say black and white to the terminal, which may have a light ground: without,
            the blocks are the light squares.
    """
    out = io.StringIO()
    segno.make(text, error="l", micro=False).terminal(out, compact=True)
    drawn = out.getvalue().splitlines()
    return [f"\x1b[97;40m{line}\x1b[0m" for line in drawn] if coloured else drawn
