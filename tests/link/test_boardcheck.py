"""The check over a port, in pretended time: what it says, what it forgives, where it gives up."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from flowlog.link.boardcheck import BoardCheck
from flowlog.link.errors import LinkError
from flowlog.link.source import LinkEvent
from flowlog.simulator.live import LiveBoard
from flowlog.simulator.run import plain_rig, scenario_for


class PretendedPort:
    """A simulated board as a source whose reads let the time go on."""

    name = "/dev/pretended"
    ended = False

    def __init__(self) -> None:
        self.now_s = 1000.0
        self.board = LiveBoard(scenario_for(plain_rig(), hours=0.2, seed=4))
        self.events: list[LinkEvent] = []
        self.at: list[tuple[float, Callable[[], None]]] = []
        self.silent = False
        self.heard = b""

    def open(self) -> None:
        pass

    def read(self, timeout_s: float = 0.25) -> bytes:
        self.now_s += max(timeout_s, 0.001)
        while self.at and self.at[0][0] <= self.now_s - 1000.0:
            self.at.pop(0)[1]()
        data = self.board.due(self.now_s - 1000.0)
        return b"" if self.silent else data

    def write(self, data: bytes) -> bool:
        self.heard += data
        self.board.hear(data)
        return True

    def take_events(self) -> list[LinkEvent]:
        events, self.events = self.events, []
        return events

    def close(self) -> None:
        pass


def checked(port, seconds=5.0, **options):
    check = BoardCheck(port, seconds, monotonic=lambda: port.now_s, **options)
    said = [said.text for said in check.run(lambda: False)]
    return check.report(), said


def test_a_right_board_passes_and_the_person_is_told_what_happens():
    port = PretendedPort()
    report, said = checked(port)
    assert report.failed == (), report.text()
    assert said[0] == "listening for 5 s"
    assert "asking for a hello" in said
    assert any("samples" in text for text in said)
    assert b"\x03" in port.heard


def test_a_computer_that_stands_still_is_not_blamed_on_the_board():
    port = PretendedPort()

    def stall():
        port.now_s += 2.5

    # Within the patterns, behind the garbage and at a request.
    port.at = [(2.0, stall), (7.8, stall), (13.1, stall), (22.5, stall)]
    report, _ = checked(port)
    assert report.failed == (), report.text()


def test_a_board_that_stands_still_is_blamed():
    port = PretendedPort()

    def hush():
        port.silent = not port.silent

    port.at = [(9.5, hush), (11.5, hush)]
    report, _ = checked(port)
    assert "C2" in report.numbers("fail"), report.text()


def test_a_port_that_goes_away_ends_the_check():
    port = PretendedPort()
    port.at = [(3.0, lambda: port.events.append(LinkEvent("lost", 3.0, "x: the port went away")))]
    with pytest.raises(LinkError, match="went away"):
        checked(port)


def test_a_board_that_says_nothing_ends_the_check():
    port = PretendedPort()
    port.silent = True
    with pytest.raises(LinkError, match="not one byte came"):
        checked(port)


@pytest.mark.parametrize("over_usb", [False, True])
def test_a_start_is_waited_for_and_judged(over_usb):
    port = PretendedPort()

    def restart():
        if over_usb:  # the port goes away with the board, in the middle of a line
            port.events.append(LinkEvent("lost", port.now_s, "away"))
        port.board.reset("power")

    port.at = [(12.03, restart)]
    report, said = checked(port, restart=True)
    assert report.failed == (), report.text()
    assert "started again" in said
    assert report.of("B1").received == "1, then 2"


def test_the_wait_for_a_start_has_an_end():
    report, said = checked(PretendedPort(), restart=True)
    assert "no start within 60 s; going on without" in said
    assert report.failed == ()
    assert report.of("B1").verdict == "not seen"
    assert report.of("C4").verdict == "pass"


def test_it_can_be_stopped_and_says_what_it_saw():
    port = PretendedPort()
    check = BoardCheck(port, 60.0, monotonic=lambda: port.now_s)
    list(check.run(lambda: port.now_s > 1008.0))
    report = check.report()
    assert report.failed == ()
    assert report.of("C4").verdict == "not seen"
    assert report.samples > 50
