"""The unwrapper against the truth of an invented board, and against a slow second reading.

`Oracle` was written from the rules in firmware-notes/protocol.md, one sample at a time, with
plain integers and search instead of modular arithmetic, and shares no code with the package.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flowlog.wire.samples import Samples
from flowlog.wire.unwrap import UNWRAPPED_FIELDS, Break, Unwrapped, Unwrapper

TURN = 1 << 32
PERIOD = 100_000
HZ = 2_000
WHEEL_HZ = 500

Row = list[int]


# --- the second reading -------------------------------------------------------------------


def nearest(start: int, raw: int, wanted: int) -> int:
    """The time congruent to `raw` that is nearest to `wanted`; `start` fixes the scale."""
    offset = (raw - start) % TURN
    below = start + offset + (wanted - start - offset) // TURN * TURN
    return min((below, below + TURN), key=lambda t: (abs(t - wanted), t))


@dataclass
class Run:
    """Unwrapped rows of one segment, as the oracle keeps them: the whole history."""

    raw: list[Row] = field(default_factory=list)
    out: list[Row] = field(default_factory=list)

    def edge(self, t: int, clock: int, edge: int) -> int:
        """Latest time congruent to the edge that is not more than a tenth of a period ahead."""
        candidate = t - clock + edge
        while candidate > t + PERIOD // 10:
            candidate -= TURN
        while candidate + TURN <= t + PERIOD // 10:
            candidate += TURN
        return candidate

    def moved(
        self, row: Row, t: int, count: int, edge: int, out_count: int, hz: int
    ) -> tuple[int, int] | None:
        """Unwrapped count and edge in columns `out_count`, `out_count + 1`; None if impossible."""
        known = [i for i, raw in enumerate(self.raw) if raw[count] != -1]
        if not known:
            first = self.edge(row[2], row[2], row[edge])
            first = first if row[count] and first >= 0 else -1
            return row[count], first if first == -1 else first + t - row[2]
        last = known[-1]
        step = row[count] - self.raw[last][count]
        while step < 0:
            step += TURN
        before, edge_before = self.out[last][out_count : out_count + 2]
        if step == 0:
            return before, edge_before
        since = t - self.out[last][2]
        when = self.edge(t, row[2], row[edge])
        if step > (since // 1000 + 1) * hz // 1000 + 2 or when < t - since - PERIOD // 10:
            return None
        return before + step, max(when, edge_before + 1)

    def next(self, row: Row, segment: int) -> Row | None:
        """The row unwrapped, or None if it cannot follow."""
        t = row[2]
        if self.raw:
            last = self.raw[-1]
            steps = row[1] - last[1]
            if row[0] != last[0] or steps < 1:
                return None
            before = self.out[-1][2]
            wanted = before + steps * PERIOD
            t = nearest(self.out[0][2], row[2], wanted)
            if t <= before or abs(t - wanted) > PERIOD + steps * PERIOD // 64:
                return None
        pulses = self.moved(row, t, 3, 4, 3, HZ)
        wheel = self.moved(row, t, 10, 11, 10, WHEEL_HZ) if row[10] != -1 else (-1, -1)
        if pulses is None or wheel is None:
            return None
        return [segment, row[1], t, *pulses, *row[5:10], *wheel]

    def add(self, row: Row, out: Row) -> None:
        self.raw.append(row)
        self.out.append(out)


class Oracle:
    def __init__(self) -> None:
        self.rows: list[Row] = []
        self.breaks: list[tuple[str, int, int]] = []
        self.rejected = 0
        self.duplicates = 0

    def read(self, raw: list[Row]) -> Oracle:
        run = Run()
        held: Row | None = None
        segment = 0
        for row in raw:
            if run.raw and row in (run.raw[-1], held):
                self.duplicates += 1
                continue
            out = run.next(row, segment)
            if out is not None:
                self.rejected += held is not None
                held = None
                run.add(row, out)
                self.rows.append(out)
                continue
            if held is not None:
                other = Run()
                first = other.next(held, segment + 1)
                assert first is not None
                other.add(held, first)
                second = other.next(row, segment + 1)
                if second is not None:
                    other.add(row, second)
                    back = held[0] != run.raw[-1][0] or held[1] <= run.raw[-1][1]
                    self.breaks.append(("reset" if back else "jump", segment + 1, len(self.rows)))
                    run, held, segment = other, None, segment + 1
                    self.rows += [first, second]
                    continue
                self.rejected += 1
            held = row
        return self


# --- an invented board --------------------------------------------------------------------


@dataclass
class Board:
    """True counters of a board; `row` shows them as the wire does."""

    random: random.Random
    boot: int
    wheel: bool
    seq: int = 0
    t: int = 0
    pulses: int = 0
    edge: int = -1
    turns: int = 0
    turn_edge: int = -1

    def tick(self, periods: int) -> None:
        before = self.t
        self.seq += periods
        self.t += periods * PERIOD + self.random.choice([0, 0, 0, -40, 37, 9_000, -9_000])
        count = self.random.choice([0, 0, 1, 3, 150])
        if count:
            self.pulses += count
            self.edge = self.random.randint(max(before + 1, self.t - PERIOD), self.t)
        count = self.random.choice([0, 1, 2])
        if count:
            self.turns += count
            self.turn_edge = self.random.randint(max(before + 1, self.t - PERIOD), self.t)

    def row(self) -> Row:
        wheel = [self.turns % TURN, self.turn_edge % TURN] if self.wheel else [-1, -1]
        edge = self.edge % TURN if self.edge >= 0 else 0
        head = [self.boot, self.seq, self.t % TURN, self.pulses % TURN, edge]
        return [*head, 51_200, 100, 500, 524, self.random.choice([-1, 0, 1]), *wheel]


def new_board(chance: random.Random, boot: int, wheel: bool) -> Board:
    """A board somewhere in its life: fresh, or with clock and counts about to wrap."""
    board = Board(chance, boot, wheel)
    if chance.random() < 0.6:
        board.seq = chance.choice([0, 5, 42_000, 10_000_000])
        board.t = board.seq * PERIOD + chance.randint(0, 50_000)
        if chance.random() < 0.5:
            board.t = TURN * chance.randint(1, 3) - chance.randint(0, 5_000_000)
        board.pulses = chance.choice([0, 7, TURN - 20, TURN - 1_000])
        board.turns = chance.choice([0, TURN - 3])
        board.edge = board.t - 1 if board.pulses else -1
        board.turn_edge = board.t - 2 if board.turns else -1
    return board


def invent(seed: int, damage: float, resets: float) -> tuple[list[Row], list[Row]]:
    """(rows as they arrive, the true unwrapped rows if neither damage nor reset happens)."""
    chance = random.Random(seed)
    counts_boots = chance.random() < 0.6
    wheel = chance.random() < 0.5
    board = new_board(chance, 9 if counts_boots else 0, wheel)
    start, pulses, turns = board.t - board.t % TURN, board.pulses, board.turns
    arrived: list[Row] = []
    true: list[Row] = []
    for _ in range(chance.choice([5, 30, 120])):
        row = board.row()
        arrived.append(row)
        true.append(
            [0, board.seq, board.t - start]
            + [board.pulses - pulses + pulses % TURN]
            + [board.edge - start if board.edge >= start else -1]
            + row[5:10]
            + ([board.turns - turns + turns % TURN] if wheel else [-1])
            + ([board.turn_edge - start if board.turn_edge >= start else -1] if wheel else [-1])
        )
        if chance.random() < damage:
            kind = chance.choice(["again", "field", "swap", "wheel", "twice"])
            if kind == "again":
                arrived.append(list(row))
            elif kind == "swap" and len(arrived) > 1:
                arrived[-1], arrived[-2] = arrived[-2], arrived[-1]
            elif kind == "wheel":
                arrived[-1] = [*row[:10], -1, -1]
            else:
                for _ in range(1 + (kind == "twice")):
                    at = chance.choice([0, 1, 2, 3, 4])
                    arrived[-1] = list(row)
                    arrived[-1][at] = chance.choice([0, row[at] ^ 1 << chance.randrange(32), 77])
                    if kind == "twice":
                        arrived.append(arrived[-1])
        if chance.random() < resets:
            board = new_board(chance, board.boot + 1 if counts_boots else 0, wheel)
            continue
        gap = chance.choice([1] * 12 + [2, 5, 700, 43_000, 90_000, 1_000_000])
        board.tick(gap)
    return arrived, true


def run(rows: list[Row], cuts: list[int]) -> tuple[list[Row], list[Break], Unwrapper]:
    unwrapper = Unwrapper(PERIOD, HZ, WHEEL_HZ)
    edges = [0, *sorted(min(c, len(rows)) for c in cuts), len(rows)]
    parts = [unwrapper.feed(Samples.of(rows[a:b])) for a, b in pairwise(edges)]
    assert sum(part.rejected for part in parts) == unwrapper.rejected
    assert sum(part.duplicates for part in parts) == unwrapper.duplicates
    table = [row for part in parts for row in part.table.tolist()]
    assert unwrapper.released == len(table)
    return table, [b for part in parts for b in part.breaks], unwrapper


seeds = st.integers(0, 1 << 48)
cut_lists = st.lists(st.integers(0, 150), max_size=8)


@settings(max_examples=300)
@given(seeds, cut_lists)
def test_wraps_losses_and_gaps_come_out_as_they_truly_were(seed: int, cuts: list[int]):
    rows, true = invent(seed, damage=0, resets=0)
    table, breaks, unwrapper = run(rows, cuts)
    assert table == true
    assert breaks == []
    assert unwrapper.rejected == 0


@settings(max_examples=600)
@given(seeds, st.sampled_from([0.05, 0.3]), st.sampled_from([0, 0.03, 0.2]), cut_lists)
def test_agrees_with_the_oracle_under_damage_and_resets_in_any_blocks(
    seed: int, damage: float, resets: float, cuts: list[int]
):
    rows, _ = invent(seed, damage, resets)
    oracle = Oracle().read(rows)
    for some_cuts in ([], cuts, list(range(len(rows)))):
        table, breaks, unwrapper = run(rows, some_cuts)
        assert table == oracle.rows
        assert [(b.kind, b.segment, b.row) for b in breaks] == oracle.breaks
        assert unwrapper.rejected == oracle.rejected
        assert unwrapper.duplicates == oracle.duplicates


@settings(max_examples=200)
@given(seeds)
def test_counters_grow_within_each_segment_whatever_arrives(seed: int):
    rows, _ = invent(seed, damage=0.3, resets=0.1)
    table, _, _ = run(rows, [])
    for a, b in pairwise(table):
        if a[0] == b[0]:
            assert b[1] > a[1]
            assert b[2] > a[2]
            assert b[3] >= a[3]
            assert (b[4] > a[4]) if b[3] > a[3] else (b[4] == a[4])
        else:
            assert b[0] == a[0] + 1


# --- the rules one by one ------------------------------------------------------------------


def steady(n: int, boot: int = 4, seq: int = 0, clock: int = 0) -> list[Row]:
    """Five pulses a sample, the last 20 ms before it."""
    return [
        [boot, seq + k, t % TURN, 5 * k, (t - 20_000) % TURN, 51_200, 100, 500, 524, -1, -1, -1]
        for k, t in enumerate(range(clock, clock + n * PERIOD, PERIOD))
    ]


def fed(rows: list[Row]) -> tuple[Unwrapped, Unwrapper]:
    unwrapper = Unwrapper(PERIOD, HZ)
    return unwrapper.feed(Samples.of(rows)), unwrapper


def test_no_edge_is_known_before_the_first_pulse():
    result, _ = fed(steady(3))
    assert result.column("edge_us").tolist() == [-1, 80_000, 180_000]


def test_an_edge_is_carried_while_no_pulse_comes_even_past_a_turn_of_the_clock():
    first = steady(2)[1]
    later = [*first]
    later[1], later[2] = first[1] + 50_000, (first[2] + 50_000 * PERIOD) % TURN
    result, _ = fed([first, later])
    assert result.column("edge_us").tolist() == [80_000, 80_000]
    assert result.column("t_us").tolist() == [100_000, 100_000 + 50_000 * PERIOD]


def test_the_sample_number_says_how_often_the_clock_wrapped_in_a_long_gap():
    rows = steady(1)
    for periods in (1, 42_949, 42_950, 500_000, 10_000_000):
        last = rows[-1]
        t = (last[2] + periods * PERIOD + 333) % TURN
        rows.append([4, last[1] + periods, t, last[3] + 1, t, *last[5:]])
    result, _ = fed(rows)
    steps = np.diff(result.column("t_us")).tolist()
    assert steps == [p * PERIOD + 333 for p in (1, 42_949, 42_950, 500_000, 10_000_000)]


def test_a_reset_begins_a_segment_once_its_second_sample_agrees():
    before, after = steady(30), steady(3, boot=5, seq=2)
    unwrapper = Unwrapper(PERIOD, HZ)
    assert len(unwrapper.feed(Samples.of([*before, after[0]]))) == 30
    result = unwrapper.feed(Samples.of(after[1:]))
    assert result.column("segment").tolist() == [1, 1, 1]
    assert result.breaks == [Break("reset", 1, 30, boot=5, seq=2, last_boot=4, last_seq=29)]
    assert result.rejected == 0


def test_a_board_that_cannot_count_boots_is_seen_to_reset_by_its_number_going_back():
    result, _ = fed(steady(40, boot=0, clock=777) + steady(40, boot=0))
    assert [(b.kind, b.row) for b in result.breaks] == [("reset", 40)]
    assert np.bincount(result.column("segment")).tolist() == [40, 40]


def test_samples_that_do_not_join_up_begin_a_segment_by_a_jump():
    after = steady(40, seq=100, clock=3_000_000_000)
    result, _ = fed(steady(40) + after)
    assert [(b.kind, b.row, b.seq) for b in result.breaks] == [("jump", 40, 100)]


@pytest.mark.parametrize(
    ("column", "value"),
    [(0, 9), (1, 7), (1, 4_000), (2, 0), (2, 99_999_999), (3, 10), (3, 60_000), (4, 5)],
)
def test_one_damaged_sample_among_good_ones_is_rejected(column: int, value: int):
    rows = steady(60)
    rows[30][column] = value
    result, unwrapper = fed(rows)
    assert result.column("seq").tolist() == [k for k in range(60) if k != 30]
    assert result.column("pulses").tolist() == [5 * k for k in range(60) if k != 30]
    assert (unwrapper.rejected, result.breaks) == (1, [])


def test_equal_samples_are_dropped_and_counted():
    rows = steady(50)
    result, unwrapper = fed(rows[:20] + rows[19:30] + [rows[29]] * 3 + rows[30:])
    assert result.column("seq").tolist() == list(range(50))
    assert unwrapper.duplicates == 4


def test_a_held_sample_is_rejected_at_the_end_and_nothing_comes_out():
    result, unwrapper = fed([*steady(30), *steady(1, boot=5)])
    assert len(result) == 30
    unwrapper.finish()
    unwrapper.finish()
    assert (unwrapper.rejected, unwrapper.released) == (1, 30)


def test_a_count_wraps_without_losing_a_pulse():
    rows = steady(50)
    for k, row in enumerate(rows):
        row[3] = (TURN - 100 + 5 * k) % TURN
    result, _ = fed(rows)
    assert result.column("pulses").tolist() == [TURN - 100 + 5 * k for k in range(50)]


def test_the_period_may_change_with_a_hello():
    unwrapper = Unwrapper(PERIOD, HZ)
    unwrapper.feed(Samples.of(steady(3)))
    unwrapper.period_us = 50_000
    last = steady(3)[2]
    rows = [[4, 2 + k, last[2] + k * 50_000, last[3], *last[4:]] for k in range(1, 200)]
    result = unwrapper.feed(Samples.of(rows))
    assert len(result) == 199
    assert unwrapper.rejected == 0


def test_an_empty_block_gives_an_empty_table():
    result, _ = fed([])
    assert result.table.shape == (0, len(UNWRAPPED_FIELDS))


@pytest.mark.parametrize("bad", [(0, 100, 100), (PERIOD, 0, 100), (PERIOD, 100, 1e9)])
def test_refuses_limits_that_make_no_sense(bad: tuple[int, float, float]):
    with pytest.raises(ValueError, match="is not within"):
        Unwrapper(*bad)


def test_a_duplicate_behind_a_damaged_sample_does_not_hide_the_damaged_one():
    rows = steady(60)
    damaged = steady(1, boot=9)
    result, unwrapper = fed(rows[:30] + damaged + [rows[29]] + rows[30:])
    assert result.column("seq").tolist() == list(range(60))
    assert (unwrapper.rejected, unwrapper.duplicates) == (1, 1)


# The limits of belief, exactly: the last value that is taken and the first one that is not.


def pair(periods: int, late: int = 0, pulses: int = 0, edge_age: int = 0) -> list[Row]:
    t = periods * PERIOD + late
    first = [4, 0, 0, 1, 0, 51_200, 100, 500, 524, -1, -1, -1]
    return [first, [4, periods, t % TURN, 1 + pulses, (t - edge_age) % TURN, *first[5:]]]


@pytest.mark.parametrize("in_a_block", [False, True])
@pytest.mark.parametrize(
    ("taken", "refused"),
    [
        # One period and 1/64 of the gap.
        ({"periods": 1, "late": 101_562}, {"periods": 1, "late": 101_563}),
        ({"periods": 64, "late": 200_000}, {"periods": 64, "late": 200_001}),
        ({"periods": 64, "late": -200_000}, {"periods": 64, "late": -200_001}),
        ({"periods": 1, "late": -99_999}, {"periods": 1, "late": -100_000}),
        # 2,000 Hz for 101 ms, and two.
        ({"periods": 1, "pulses": 204}, {"periods": 1, "pulses": 205}),
        # A tenth of a period before the sample before, and as much after this one.
        (
            {"periods": 2, "pulses": 1, "edge_age": 210_000},
            {"periods": 2, "pulses": 1, "edge_age": 210_001},
        ),
        (
            {"periods": 2, "pulses": 1, "edge_age": -10_000},
            {"periods": 2, "pulses": 1, "edge_age": -10_001},
        ),
    ],
)
def test_limits_of_belief(taken: dict[str, int], refused: dict[str, int], in_a_block: bool):
    for case, expected in ((taken, 2), (refused, 1)):
        first, second = pair(**case)
        # Equal samples in front make the block long enough for the quick path.
        result, _ = fed([first] * (100 if in_a_block else 1) + [second])
        assert len(result) == expected, case
