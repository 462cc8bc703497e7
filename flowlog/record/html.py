"""A sheet as one HTML file to print: black on white, nothing loaded from elsewhere.

Everything that a person typed is escaped here, at the one place where text becomes HTML.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from html import escape
from typing import Final

from flowlog.record.layout import Line, Page
from flowlog.review.words import on_page

_STYLE: Final = """
@page { margin: 14mm 15mm; }
* { box-sizing: border-box; }
body { color: #000; background: #fff; font: 10pt/1.35 "Helvetica Neue", Arial, "DejaVu Sans",
  sans-serif; max-width: 180mm; margin: 8mm auto; }
header { display: flex; justify-content: space-between; align-items: flex-start; gap: 8mm;
  border-bottom: 2pt solid #000; padding-bottom: 2mm; }
h1 { font-size: 16pt; margin: 0; line-height: 1.15; }
header p { margin: 1mm 0 0; }
.state { border: 1.2pt solid #000; padding: 1mm 2.5mm; font-weight: bold; max-width: 60mm;
  text-align: center; }
h2 { font-size: 10.5pt; margin: 3mm 0 0.3mm; break-after: avoid; }
.box { border: 1pt solid #000; padding: 1.5mm 2.5mm; margin-top: 3mm; }
.grid { display: grid; grid-template-columns: repeat(12, 1fr); column-gap: 4mm; row-gap: 1mm; }
.cell { grid-column: span 4; border-bottom: 0.5pt solid #777; padding: 0.3mm 0 0.4mm;
  break-inside: avoid; overflow-wrap: anywhere; }
.wide { grid-column: span 8; }
.log .cell { grid-column: span 3; }
.label, .note { font-size: 7.5pt; display: block; }
.label { letter-spacing: 0.02em; }
.answer { display: block; min-height: 1.35em; white-space: pre-wrap; }
.blank { border-bottom: 1.2pt solid #000; }
.product + .product { margin-top: 3mm; padding-top: 1mm; border-top: 1pt solid #000; }
ul { margin: 0.5mm 0 0; padding-left: 5mm; }
li { overflow-wrap: anywhere; }
.small { font-size: 8pt; }
.signature { display: grid; grid-template-columns: 2fr 1fr; gap: 8mm; margin-top: 11mm;
  break-inside: avoid; }
.signature div { border-top: 0.8pt solid #000; font-size: 7.5pt; padding-top: 0.5mm; }
@media print { body { margin: 0; max-width: none; } }
"""

_LONG: Final = 30
"""Answers with more characters take two columns."""


def html(page: Page) -> str:
    """The file's text."""
    parts = [
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        f"<title>{escape(page.title)}</title>\n<style>{_STYLE}</style>\n</head>\n<body>",
        f"<header><div><h1>{escape(page.title)}</h1><p>{escape(page.subtitle)}</p></div>",
        f'<div class="state">{escape(page.state)}</div></header>',
    ]
    if page.missing:
        parts.append(
            '<div class="box"><strong>Missing for this set of fields:</strong> '
            f"{escape('; '.join(page.missing))}.</div>"
        )
    parts.append("<h2>Products (undiluted)</h2>")
    parts += [f'<div class="product">{_grid(product)}</div>' for product in page.products]
    for title, lines in page.sections:
        if lines:
            parts.append(f"<section><h2>{escape(title)}</h2>{_grid(lines)}</section>")
    log = [replace(line, note=on_page(line.note)) for line in page.log]
    parts.append(f'<section class="log"><h2>What the log says</h2>{_grid(log)}</section>')
    parts.append(_list("Alerts", page.alerts or ("None.",)))
    if page.remarks:
        parts.append(_list("To check", page.remarks))
    parts.append(
        '<div class="signature"><div>Signature of the applicator</div><div>Date</div></div>'
    )
    parts.append(_list("Notices", page.notices, "small"))
    parts.append(_list(f"History up to {page.title.lower()}", page.history, "small"))
    parts.append("</body>\n</html>\n")
    return "\n".join(parts)


def _grid(lines: Sequence[Line]) -> str:
    shown = [line for line in lines if line.text or line.wanted]
    return f'<div class="grid">{"".join(_cell(line) for line in shown)}</div>'


def _cell(line: Line) -> str:
    kind = "cell" if line.text else "cell blank"
    if len(line.text) > _LONG:
        kind += " wide"
    note = f'<span class="note">{escape(line.note)}</span>' if line.note else ""
    return (
        f'<div class="{kind}"><span class="label">{escape(line.label)}</span>'
        f'<span class="answer">{escape(line.text)}</span>{note}</div>'
    )


def _list(title: str, lines: Iterable[str], style: str = "") -> str:
    items = "".join(f"<li>{escape(line)}</li>" for line in lines)
    return f'<section class="{style}"><h2>{escape(title)}</h2><ul>{items}</ul></section>'
