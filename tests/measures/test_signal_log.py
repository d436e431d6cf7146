"""Which signals are new, continuing or ended, and that lists are kept by edition."""

from dataclasses import replace

import pytest

from pipeline.measures.signal_log import LoggedSignal, keep_signals, kept_signals, states
from pipeline.store import open_store

RUN = LoggedSignal(
    "leakage", "dunlin", "long_run", "above", "2025-01", "2025-09", "9 points in a row."
)


def test_a_signal_that_goes_on_is_continuing_though_it_has_grown():
    state, ended = states([replace(RUN, last_period="2025-12")], [RUN])
    assert (state, ended) == (["continuing"], [])


@pytest.mark.parametrize(
    "change",
    [{"direction": "below"}, {"site": "all"}, {"kind": "watch"},
     {"first_period": "2025-10", "last_period": "2025-12"}],
)  # fmt: skip
def test_another_side_site_rule_or_time_is_another_signal(change):
    state, ended = states([replace(RUN, **change)], [RUN])
    assert (state, ended) == (["new"], [RUN])


def test_a_signal_that_is_no_more_has_ended():
    assert states([], [RUN]) == ([], [RUN])


def test_lists_are_kept_by_edition_and_the_same_list_once(tmp_path):
    with open_store(tmp_path / "s.duckdb", read_only=False) as store:
        store.rows(
            "insert into load (load_id, kind, loaded_at, as_of)"
            " values (1, 'load', current_timestamp::timestamp, '2026-01-06')"
        )
        assert kept_signals(store, "2025-Q3") is None
        assert keep_signals(store, "2025-Q3", [RUN], charts=120) == 1
        assert keep_signals(store, "2025-Q3", [RUN], charts=120) == 1
        assert keep_signals(store, "2025-Q3", [], charts=120) == 2
        assert kept_signals(store, "2025-Q3") == []
        assert keep_signals(store, "2025-Q3", [RUN], charts=120) == 3
        assert kept_signals(store, "2025-Q3") == [RUN]
        assert kept_signals(store, "2025-Q4") is None
