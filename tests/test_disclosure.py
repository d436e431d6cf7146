"""What is withheld cannot be worked out: a reader with a linear programme tries."""

import numpy as np
import pytest
from scipy.optimize import linprog

from pipeline.disclosure import (
    CONFIDENTIAL,
    Ledger,
    Policy,
    enter_rows,
    rows_withheld,
    withheld_at_risk,
    withheld_rows,
)
from pipeline.settings import SMALL_CELL, Settings

POLICY = Policy(SMALL_CELL)


def test_threshold_shows_0_and_11_and_withholds_1_to_10():
    """CMS cell-size policy (ResDAC, version of 26 January 2024)."""
    assert POLICY.is_small([0, 1, 10, 11]).tolist() == [False, True, True, False]


def worked_example():
    ledger = Ledger(POLICY)
    rows = {"A": (12, 188, 200), "B": (7, 143, 150), "C": (0, 50, 50), "total": (19, 381, 400)}
    for row, numbers in rows.items():
        for column, number in zip(("event", "none", "all"), numbers, strict=True):
            ledger.count((row, column), number)
        ledger.adds_up((row, "all"), [(row, "event"), (row, "none")])
    for column in ("event", "none", "all"):
        ledger.adds_up(("total", column), [(row, column) for row in "ABC"])
    return ledger


def test_worked_example_withholds_one_rectangle():
    """The rule is CMS's: not reported directly, nor derivable. Worked by hand.

    Row B's event (7) is small; with the totals shown, so must go its no-event and row
    A's two cells. Row C and the totals may stay.
    """
    assert worked_example().withheld() == {
        ("A", "event"), ("A", "none"), ("B", "event"), ("B", "none"),
    }  # fmt: skip


def test_the_committee_sees_all_and_is_told_so():
    policy = Policy.for_audience("committee", Settings())
    assert policy.is_confidential
    assert policy.note == CONFIDENTIAL
    ledger = Ledger(policy)
    ledger.count("few", 3)
    assert not ledger.withheld()
    shared = Policy.for_audience("shared", Settings())
    assert shared.threshold == SMALL_CELL
    assert not shared.is_confidential
    assert "1 to 10 children" in shared.note


def test_one_small_count_alone_is_withheld_without_more():
    ledger = Ledger(POLICY)
    ledger.count("few", 3)
    ledger.count("many", 300)
    assert ledger.withheld() == {"few"}


def test_a_count_known_elsewhere_is_worked_round():
    """The network's total stands in another table, so a second site must go."""
    ledger = Ledger(POLICY)
    for name, number in {"avocet": 4, "curlew": 31, "dunlin": 52}.items():
        ledger.count(name, number)
    ledger.count("network", 87, sight="known")
    ledger.adds_up("network", ["avocet", "curlew", "dunlin"])
    assert ledger.withheld() == {"avocet", "curlew"}


def test_two_tables_of_one_report_cannot_be_played_against_each_other():
    """By site nothing is small; by surgeon type one is, and the total gives it away."""
    with_event, episodes = [40, 35, 30], [200, 150, 160]
    ledger = Ledger(POLICY)
    enter_rows(
        ledger, "leakage", ["a", "b", "c"],
        with_event=with_event, episodes=episodes, is_proportion=True, family="site",
    )  # fmt: skip
    enter_rows(
        ledger, "leakage", ["hand", "sports", "trauma"],
        with_event=[6, 50, 49], episodes=[110, 200, 200], is_proportion=True, family="surgeon",
    )  # fmt: skip
    hidden = ledger.withheld()
    by_site = rows_withheld(hidden, "leakage", ["a", "b", "c"], family="site")
    by_surgeon = rows_withheld(hidden, "leakage", ["hand", "sports", "trauma"], family="surgeon")
    assert not by_site.figures.any()
    assert by_surgeon.figures[0]
    assert by_surgeon.figures.sum() == 2
    assert not by_surgeon.episodes.any()


def test_those_without_the_event_are_small_cells_too():
    got = withheld_rows(POLICY, with_event=[195, 180], episodes=[200, 230], is_proportion=True)
    assert got.figures.all()
    got = withheld_rows(POLICY, with_event=[195, 180], episodes=[200, 230], is_proportion=False)
    assert not got.figures.any()


def test_eleven_catheters_of_ten_children_are_few():
    numbers = {"with_event": [11, 60, 40], "episodes": [200, 230, 150], "is_proportion": False}
    assert not withheld_rows(POLICY, **numbers).figures.any()
    got = withheld_rows(POLICY, **numbers, children=([10, 55, 38], [190, 220, 145]))
    assert got.figures.tolist() == [True, False, True]
    open_to_all = withheld_rows(Policy(0), **numbers, children=([10, 55, 38], [190, 220, 145]))
    assert not open_to_all.figures.any()


def test_a_small_group_loses_its_denominator_with_another_group():
    got = withheld_rows(POLICY, with_event=[2, 30, 40], episodes=[8, 100, 120], is_proportion=True)
    assert got.episodes.sum() == 2
    assert got.episodes[0]
    assert got.figures[0]


def test_numbers_in_place_never_differ_by_a_few():
    rows = [[120, 118, 110, 95, 80, 40, 12, 0], [200, 190, 185, 150, 120, 60, 22, 4]]
    hidden = withheld_at_risk(POLICY, rows)
    assert hidden.tolist() == [
        [False, True, True, False, False, False, False, False],
        [False, True, False, False, False, False, False, True],
    ]
    both = withheld_at_risk(POLICY, rows, has_total=True)
    assert both.shape == (3, 8)
    shown_total = ~both[2]
    # Where the total is shown, one group's number is never withheld alone.
    assert not np.any(both[:2, shown_total].sum(axis=0) == 1)


def test_entries_that_contradict_each_other_are_refused():
    ledger = Ledger(POLICY)
    ledger.count("a", 3)
    ledger.count("a", 3)
    with pytest.raises(ValueError, match="two values"):
        ledger.count("a", 4)
    with pytest.raises(ValueError, match="negative"):
        ledger.count("b", -1)
    ledger.count("b", 5)
    ledger.count("c", 9)
    with pytest.raises(ValueError, match="add up"):
        ledger.adds_up("c", ["a", "b"])


class Reader:
    """Knows every shown cell and every sum, and that counts are not negative."""

    def __init__(self, values, sums, hidden):
        self.keys = list(values)
        self.bounds = [(0, None) if k in hidden else (values[k], values[k]) for k in self.keys]
        at = {k: i for i, k in enumerate(self.keys)}
        self.rows = np.zeros((len(sums), len(self.keys)))
        for r, (total, parts) in enumerate(sums):
            self.rows[r, at[total]] -= 1
            for part in parts:
                self.rows[r, at[part]] += 1

        self.tables = []  # every table found so far that agrees with all that is shown

    def range_of(self, key):
        """The least and the most that a cell can be."""
        aim = np.zeros(len(self.keys))
        aim[self.keys.index(key)] = 1
        ends = []
        for sign in (1, -1):
            answer = linprog(
                sign * aim, A_eq=self.rows, b_eq=np.zeros(len(self.rows)), bounds=self.bounds
            )
            ends.append(np.inf if answer.status == 3 else sign * answer.fun)
            if answer.status == 0:
                self.tables.append(answer.x)
        return ends

    def leaves(self, key, width):
        """Whether tables that differ by so much in a cell agree with all that is shown."""
        cell = [table[self.keys.index(key)] for table in self.tables]
        if cell and max(cell) - min(cell) >= width:
            return True
        low, high = self.range_of(key)
        return high - low >= width


def random_tables(rng):
    """Rows by columns with totals, and the whole split by another factor besides."""
    rows, columns = rng.integers(2, 5), rng.integers(2, 5)
    inner = rng.poisson(rng.gamma(0.7, 25, (rows, columns)))
    values = {(r, c): int(inner[r, c]) for r in range(rows) for c in range(columns)}
    sums = []
    for r in range(rows):
        values[r, "t"] = int(inner[r].sum())
        sums.append(((r, "t"), [(r, c) for c in range(columns)]))
    for c in range(columns):
        values["t", c] = int(inner[:, c].sum())
        sums.append((("t", c), [(r, c) for r in range(rows)]))
    values["t", "t"] = int(inner.sum())
    sums += [
        (("t", "t"), [("t", c) for c in range(columns)]),
        (("t", "t"), [(r, "t") for r in range(rows)]),
    ]
    split = rng.multinomial(inner.sum(), [0.05, 0.6, 0.35])
    values.update({("other", k): int(n) for k, n in enumerate(split)})
    sums.append((("t", "t"), [("other", k) for k in range(3)]))
    return values, sums


def withhold(values, sums):
    ledger = Ledger(POLICY)
    for key, value in values.items():
        ledger.count(key, value)
    for total, parts in sums:
        ledger.adds_up(total, parts)
    return ledger.withheld()


def test_a_reader_recovers_no_withheld_cell_of_200_random_tables():
    rng = np.random.default_rng(200)
    small_cells = 0
    for _ in range(200):
        values, sums = random_tables(rng)
        hidden = withhold(values, sums)
        reader = Reader(values, sums, hidden)
        for key in hidden:
            is_small = 0 < values[key] < SMALL_CELL
            small_cells += is_small
            assert reader.leaves(key, SMALL_CELL // 2 if is_small else 1)
        shown_small = [k for k, v in values.items() if 0 < v < SMALL_CELL and k not in hidden]
        assert not shown_small
    assert small_cells > 300


def test_withholding_small_cells_alone_would_be_worked_out():
    """The reader is no straw man: without the complement most tables fall."""
    rng = np.random.default_rng(201)
    recovered = 0
    for _ in range(20):
        values, sums = random_tables(rng)
        primary = {k for k, v in values.items() if 0 < v < SMALL_CELL}
        reader = Reader(values, sums, primary)
        ranges = [reader.range_of(key) for key in primary]
        recovered += any(high - low < 0.5 for low, high in ranges)
    assert recovered >= 10


def test_no_more_is_withheld_than_the_cheapest_choice_needs():
    """One sum: a second cell must go, and the smallest other one is enough."""
    values = {"a": 3, "b": 20, "c": 25, "d": 40, "t": 88}
    sums = [("t", ["a", "b", "c", "d"])]
    assert withhold(values, sums) == {"a", "b"}
