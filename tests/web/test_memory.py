"""What answers took is given back soon after, once for all that came together."""

from __future__ import annotations

import asyncio

from support.pages import in_loop

from flowlog.web import memory


def test_memory_is_given_back_once_for_answers_that_came_together(monkeypatch):
    given = []
    monkeypatch.setattr(memory, "give_back", lambda: given.append(1))
    monkeypatch.setattr(memory, "_AFTER_S", 0.05)

    async def nothing(_scope, _receive, _send):
        return

    async def scene():
        app = memory.GiveBack(nothing)
        for _ in range(5):
            await app({"type": "http"}, None, None)
        await asyncio.sleep(0.2)
        together = len(given)
        await app({"type": "http"}, None, None)
        await asyncio.sleep(0.2)
        return together, len(given)

    assert in_loop(scene()) == (1, 2)


def test_it_is_harmless_and_a_library_that_knows_nothing_of_it_is_no_fault():
    memory.settle()
    memory.give_back()
    assert memory._function("no_such_function_of_any_library") is None
