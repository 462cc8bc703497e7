"""The questions of `flowlog sheet`, one field at a time, and the way back from a wrong answer."""

from __future__ import annotations

import click

from flowlog.record.fields import FIELDS, Field
from flowlog.record.forms import FORMS, FormError, form_of
from flowlog.record.sheet import MOST_PRODUCTS, Sheet
from flowlog.record.values import FieldError, Value, value_of

_HELP = "Enter keeps what stands in brackets or leaves it empty; - empties it; ? explains."


def ask_form(default: str) -> str:
    """Which set of fields."""
    for form in FORMS:
        click.echo(f"  {form.key}: {form.title}")
    while True:
        answer = _line("Set of fields", default)
        try:
            return form_of(answer or default).key
        except FormError as error:
            click.echo(f"  {error}")


def ask_sheet(sheet: Sheet, *, everything: bool = False) -> Sheet:
    """Ask for the fields of the set (or for all there are), what is known standing as default."""
    click.echo(_HELP)
    wanted = form_of(sheet.form).fields
    asked = [entry for entry in FIELDS if everything or entry.key in wanted]
    number = 1
    while number <= MOST_PRODUCTS:
        click.echo(f"Product {number}")
        for entry in asked:
            if entry.section == "product":
                sheet = _ask_into(sheet, number, entry)
        if number >= len(sheet.products) and not _yes("Another product in the mix?"):
            break
        number += 1
    for entry in asked:
        if entry.section != "product":
            sheet = _ask_into(sheet, 0, entry)
    return sheet


def _ask_into(sheet: Sheet, number: int, entry: Field) -> Sheet:
    if number:
        known = sheet.products[number - 1] if number <= len(sheet.products) else {}
        before = known.get(entry.key)
    else:
        before = sheet.value(entry.key)
    answer = _ask(entry, before)
    return sheet if answer is before else sheet.with_values({(number, entry.key): answer})


def _ask(entry: Field, before: Value | None) -> Value | None:
    """The answer; `before` itself if it is to stay."""
    while True:
        text = _line(f"  {entry.label}", "" if before is None else before.text)
        if text == "?":
            click.echo(f"    {entry.help or entry.label}; for instance: {entry.example}")
            continue
        if text == "-":
            return None
        if not text or (before is not None and text == before.text):
            return before
        try:
            return value_of(entry.key, text)
        except FieldError as error:
            click.echo(f"    {str(error).removeprefix(f'{entry.key}: ')}")


def _yes(question: str) -> bool:
    while True:
        answer = _line(f"  {question} (y/n)", "n").casefold()
        if answer in {"", "n", "no"}:
            return False
        if answer in {"y", "yes"}:
            return True
        click.echo(f"    '{answer[:40]}' is not yes or no")


def confirm(question: str) -> bool:
    """A last yes or no; yes is the default."""
    while True:
        answer = _line(f"{question} (y/n)", "y").casefold()
        if answer in {"", "y", "yes"}:
            return True
        if answer in {"n", "no"}:
            return False
        click.echo(f"  '{answer[:40]}' is not yes or no")


def _line(question: str, default: str) -> str:
    shown = f"{question} [{default}]" if default else question
    answer: str = click.prompt(shown, default="", show_default=False, prompt_suffix=": ")
    return answer.strip()
