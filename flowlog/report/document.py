"""A document as plain blocks: what there is to say, in which order, and nothing of how it looks."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any

from flowlog.review.words import clean


@dataclass(frozen=True, slots=True)
class Heading:
    text: str


@dataclass(frozen=True, slots=True)
class Paragraph:
    text: str
    strong: bool = False


@dataclass(frozen=True, slots=True)
class Bullets:
    lines: tuple[str, ...]
    framed: bool = False
    """Set apart by a frame: what nobody may overlook."""


@dataclass(frozen=True, slots=True)
class Fact:
    """A label with its value."""

    label: str
    value: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class Facts:
    facts: tuple[Fact, ...]


@dataclass(frozen=True, slots=True)
class Table:
    """Rows have one cell for each of `head`; `total` is one more, set apart."""

    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    right: frozenset[int] = frozenset()
    """Columns of numbers."""
    wide: frozenset[int] = frozenset({0})
    """Columns that take the space that the others leave."""
    total: tuple[str, ...] | None = None


@dataclass(frozen=True, slots=True)
class Picture:
    """A drawing of our own: the only text that is not escaped. Names in it must be."""

    svg: str
    says: str
    """The same in words, for those who cannot see it."""


Block = Heading | Paragraph | Bullets | Facts | Table | Picture


@dataclass(frozen=True, slots=True)
class Document:
    title: str
    subtitle: str
    blocks: tuple[Block, ...]
    foot: str
    """At the foot of each page."""

    def plain(self) -> dict[str, Any]:
        """The document as JSON has it, for whoever sets it.

        All texts are in one line and without characters that have no shape of their own: such a
        one could turn the words around it (a bidirectional override) or break a page.
        """
        return {
            "title": clean(self.title),
            "subtitle": clean(self.subtitle),
            "foot": clean(self.foot),
            "blocks": [_plain(block) for block in self.blocks],
        }


def _plain(block: Block) -> dict[str, Any]:
    made: dict[str, Any] = {"kind": type(block).__name__.lower()}
    for field in fields(block):
        value = getattr(block, field.name)
        made[field.name] = value if field.name == "svg" else _cleaned(value)
    return made


def _cleaned(value: object) -> Any:
    match value:
        case str():
            return clean(value)
        case frozenset():
            return sorted(value)
        case tuple():
            return [_cleaned(one) for one in value]
        case Fact():
            return {field.name: clean(getattr(value, field.name)) for field in fields(value)}
        case Mapping():
            raise TypeError("a block holds texts, numbers and rows of them")
        case _:
            return value
