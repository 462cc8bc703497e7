"""Helpers: what stands in an HTML file and in a PDF, as text."""

from __future__ import annotations

import re
import subprocess
from html.parser import HTMLParser
from pathlib import Path
from typing import Any


class Reader(HTMLParser):
    """Tags, attributes and visible text of a page; what a drawing says aside is left out."""

    UNSEEN = ("style", "desc")
    VOID = ("meta",)

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: set[str] = set()
        self.attributes: set[str] = set()
        self.values: list[str] = []
        self.words: list[str] = []
        self._open: list[str] = []
        self.feed(text)
        self.close()
        assert self._open == []

    def handle_starttag(self, tag, attrs):
        self.tags.add(tag)
        self.attributes |= {name for name, _ in attrs}
        self.values += [value or "" for _, value in attrs]
        if tag not in self.VOID:
            self._open.append(tag)

    def handle_endtag(self, tag):
        assert self._open.pop() == tag

    def handle_data(self, data):
        hidden = set(self._open) & set(self.UNSEEN)
        in_drawing = "svg" in self._open and self._open[-1] == "title"
        if not hidden and not in_drawing and "head" not in self._open:
            self.words.append(data)

    @property
    def text(self) -> str:
        return " ".join(self.words)


def pdf_text(pdftotext: str, content: bytes, folder: Path, *how: str) -> str:
    """The text of a PDF, in the order in which it was set."""
    path = folder / "report.pdf"
    path.write_bytes(content)
    words = [pdftotext, *how, "-enc", "UTF-8", str(path), "-"]
    return subprocess.run(words, check=True, capture_output=True, timeout=60).stdout.decode()


def squeezed(text: str) -> str:
    """Without spaces and line breaks, which the two set in their own ways."""
    return re.sub(r"[\s\u200b]+", "", text)


def numbers(text: str) -> set[str]:
    return set(re.findall(r"\d(?:[\d.,:]*\d)?", text))


def texts(plain: Any) -> list[str]:
    """Every text of a document's blocks, without its drawings."""
    match plain:
        case str():
            return [plain] if plain else []
        case list():
            return [one for item in plain for one in texts(item)]
        case dict():
            hidden = {"kind", "svg", "says"}
            return [one for key, item in plain.items() if key not in hidden for one in texts(item)]
        case _:
            return []
