"""The style sheets and templates by themselves: contrast, nothing from outside, nothing inline."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from flowlog import web

FOLDER = Path(web.__file__).parent
STATIC = FOLDER / "static"
TEMPLATES = FOLDER / "templates"
CONTRAST_MIN = 7.0
LARGEST_FILE = 30_000

PAIRS = [
    ("ink", "paper"), ("ink", "sunk"), ("ink", "band"), ("soft", "paper"), ("soft", "sunk"),
    ("link", "paper"), ("link", "sunk"), ("attend-ink", "attend"), ("stop-ink", "stop"),
    ("stop", "stop-ink"), ("attend", "attend-ink"), ("paper", "ink"),
]  # fmt: skip
LINES = [("line", "paper"), ("attend-line", "paper"), ("stop-line", "paper")]


def colours(scheme: str) -> dict[str, str]:
    """The variables of look.css, in dark those that dark replaces."""
    text = (STATIC / "look.css").read_text("utf-8")
    light, _, rest = text.partition("@media (prefers-color-scheme: dark)")
    found = dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6});", light))
    if scheme == "dark":
        found |= dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6});", rest.partition("\n}\n")[0]))
    return found


def luminance(colour: str) -> float:
    """Relative luminance of sRGB, WCAG 2.2."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    red, green, blue = (p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def test_black_on_white_has_the_contrast_that_the_standard_states():
    # 21:1, WCAG 2.2, definition of contrast ratio
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize(("text", "ground"), PAIRS)
def test_every_text_stands_out_seven_to_one(scheme, text, ground):
    found = colours(scheme)
    assert contrast(found[text], found[ground]) >= CONTRAST_MIN


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize(("line", "ground"), LINES)
def test_every_line_that_means_something_stands_out_three_to_one(scheme, line, ground):
    # 3:1 for what is no text: WCAG 2.2, 1.4.11
    found = colours(scheme)
    assert contrast(found[line], found[ground]) >= 3.0


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_two_fills_differ_in_brightness_and_not_only_in_hue(scheme):
    found = colours(scheme)
    assert contrast(found["attend"], found["stop"]) >= 4.5


def test_dark_replaces_what_it_must():
    assert colours("dark")["paper"] != colours("light")["paper"]


@pytest.mark.parametrize("path", sorted(STATIC.iterdir()), ids=lambda path: path.name)
def test_nothing_that_is_served_is_large_or_asks_another_host(path):
    text = path.read_text("utf-8")
    assert len(text.encode()) < LARGEST_FILE
    addresses = re.findall(r"(?:https?:)?//[a-z0-9.-]+\.[a-z]{2,}", text)
    assert set(addresses) <= {"http://www.w3.org"}  # the name of SVG, which nobody asks
    assert "@import" not in text


@pytest.mark.parametrize("path", sorted(TEMPLATES.rglob("*.html")), ids=lambda path: path.name)
def test_no_template_has_a_style_or_script_in_it_or_an_address_elsewhere(path):
    text = path.read_text("utf-8")
    assert not re.search(r"\sstyle=|<style|\son[a-z]+=|javascript:", text)
    assert all("src=" in tag for tag in re.findall(r"<script[^>]*>", text))
    assert not re.search(r"(?:src|href|action)=[\"']?(?:https?:)?//", text)
    assert "|safe" not in text.replace(" ", "")


@pytest.mark.parametrize("path", sorted(STATIC.glob("*.css")), ids=lambda path: path.name)
def test_colours_are_named_in_one_place_only(path):
    text = path.read_text("utf-8")
    if path.name == "look.css":
        text = text.partition("*,\n")[2]
    assert re.findall(r"#[0-9a-fA-F]{3,8}\b(?![^{]*\{)", text) == []
