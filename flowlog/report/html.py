"""A document as one HTML file: it loads nothing, runs nothing and prints in black on white."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from html import escape
from typing import Any, Final

from flowlog.report.document import Document

_STYLE: Final = """
@page { margin: 15mm 16mm 18mm; @bottom-left { content: "FOOT"; font: 7.5pt sans-serif; }
  @bottom-right { content: "Page " counter(page) " of " counter(pages); font: 7.5pt sans-serif; } }
* { box-sizing: border-box; }
body { color: #000; background: #fff; font: 10pt/1.4 "Helvetica Neue", Arial, "DejaVu Sans",
  sans-serif; max-width: 182mm; margin: 8mm auto; padding: 0 4mm; overflow-wrap: anywhere; }
header { border-bottom: 2pt solid #000; padding-bottom: 2mm; margin-bottom: 3mm; }
h1 { font-size: 17pt; line-height: 1.2; margin: 0; }
header p { margin: 1mm 0 0; }
h2 { font-size: 11.5pt; margin: 5mm 0 1mm; break-after: avoid; }
p { margin: 1mm 0; }
.strong { font-weight: bold; }
ul { margin: 1mm 0; padding-left: 5mm; }
.framed { border: 1.2pt solid #000; padding: 1.5mm 3mm 1.5mm 8mm; }
dl { display: grid; grid-template-columns: repeat(auto-fill, minmax(52mm, 1fr)); gap: 1mm 5mm;
  margin: 1mm 0; }
dl div { border-bottom: 0.5pt solid #777; padding-bottom: 0.5mm; break-inside: avoid; }
dt, dd.note { font-size: 8pt; }
dd { margin: 0; font-weight: bold; }
dd.note { font-weight: normal; }
.sheet { overflow-x: auto; }
table { border-collapse: collapse; width: 100%; margin: 1mm 0; font-size: 9pt;
  font-variant-numeric: tabular-nums; }
th { text-align: left; vertical-align: bottom; border-bottom: 1.2pt solid #000;
  padding: 0.6mm 1.5mm; }
td { vertical-align: top; border-bottom: 0.5pt solid #777; padding: 0.6mm 1.5mm; }
th:not(.wide), td:not(.wide) { overflow-wrap: normal; }
.right { text-align: right; }
td.right { white-space: nowrap; }
.wide { min-width: 30mm; }
tbody + tbody td { border-top: 1.2pt solid #000; border-bottom: 0; font-weight: bold; }
tr { break-inside: avoid; }
figure { margin: 1mm 0; break-inside: avoid; }
figure svg { display: block; width: 100%; height: auto; }
footer { border-top: 0.5pt solid #777; margin-top: 5mm; padding-top: 1mm; font-size: 8pt; }
@media print { body { margin: 0; max-width: none; padding: 0; } .sheet { overflow: visible; }
  footer { display: none; } }
"""


def html(document: Document) -> str:
    """The file's text. Whatever a person typed is escaped here."""
    plain = document.plain()
    # Of the foot only what means the same in a string of CSS gets into the style.
    foot = "".join(
        mark for mark in plain["foot"] if (mark.isascii() and mark.isalnum()) or mark in " ,.:-"
    )
    title = _text(plain["title"])
    parts = [
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        f"<title>{title}</title>\n<style>{_STYLE.replace('FOOT', foot)}</style>\n</head>\n<body>",
        f'<header><h1 dir="auto">{title}</h1>{_paragraph({"text": plain["subtitle"]})}</header>',
        "<main>",
        *(_SET[block["kind"]](block) for block in plain["blocks"]),
        f"</main>\n<footer>{_text(plain['foot'])}</footer>\n</body>\n</html>\n",
    ]
    return "\n".join(parts)


def _text(text: str) -> str:
    return escape(text)


def _heading(block: dict[str, Any]) -> str:
    return f'<h2 dir="auto">{_text(block["text"])}</h2>'


def _paragraph(block: dict[str, Any]) -> str:
    style = ' class="strong"' if block.get("strong") else ""
    return f'<p dir="auto"{style}>{_text(block["text"])}</p>'


def _bullets(block: dict[str, Any]) -> str:
    items = "".join(f'<li dir="auto">{_text(line)}</li>' for line in block["lines"])
    return f"<ul{_class(framed=block['framed'])}>{items}</ul>"


def _facts(block: dict[str, Any]) -> str:
    return f"<dl>{''.join(_fact(fact) for fact in block['facts'])}</dl>"


def _fact(fact: dict[str, str]) -> str:
    note = f'<dd class="note" dir="auto">{_text(fact["note"])}</dd>' if fact["note"] else ""
    value = f'<dd dir="auto">{_text(fact["value"])}</dd>'
    return f"<div><dt>{_text(fact['label'])}</dt>{value}{note}</div>"


def _table(block: dict[str, Any]) -> str:
    def row(cells: Sequence[str], tag: str) -> str:
        made = []
        for place, cell in enumerate(cells):
            style = _class(right=place in block["right"], wide=place in block["wide"])
            scope = ' scope="col"' if tag == "th" else ' dir="auto"'
            made.append(f"<{tag}{scope}{style}>{_text(cell)}</{tag}>")
        return f"<tr>{''.join(made)}</tr>"

    body = "\n".join(row(cells, "td") for cells in block["rows"])
    total = f"<tbody>{row(block['total'], 'td')}</tbody>" if block["total"] else ""
    return (
        f'<div class="sheet" tabindex="0"><table><thead>{row(block["head"], "th")}</thead>'
        f"<tbody>{body}</tbody>{total}</table></div>"
    )


def _picture(block: dict[str, Any]) -> str:
    # The drawing tells the same to those who cannot see it, by its title and description.
    return f"<figure>{block['svg']}</figure>"


def _class(**styles: bool) -> str:
    names = " ".join(name for name, wanted in styles.items() if wanted)
    return f' class="{names}"' if names else ""


_SET: Final[dict[str, Callable[[dict[str, Any]], str]]] = {
    "heading": _heading,
    "paragraph": _paragraph,
    "bullets": _bullets,
    "facts": _facts,
    "table": _table,
    "picture": _picture,
}
