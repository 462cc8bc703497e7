"""The board's firmware. Only hardware.py touches pins; the rest runs anywhere, and is tested so."""
