import numpy as np
import pytest

from pipeline.analysis.survival.pump import pump_table


def test_pumps_by_hand() -> None:
    # 100 ml at 2 ml/h lasts 50 h; at 4 ml/h 25 h. A tenth more or less is the pump's own.
    table = pump_table(
        rate_ml_h=[2, 2, 2, 4, 4],
        reservoir_ml=[100] * 5,
        dwell_h=[72, 52, 30, 72, 10],
        is_removed=[True, True, True, True, False],
        n=[4, 3, 2, 5, 1],
    )
    two, four = table.rows
    assert (two.rate_ml_h, two.catheters) == (2, 9)
    assert (two.emptied_early, two.together, two.drug_left) == (4, 3, 2)
    assert two.median_empty_h == 22
    assert two.median_left_ml == 40
    assert two.median_runtime_h == 50
    assert (four.emptied_early, four.untold) == (5, 1)
    assert table.all_rates.catheters == 14
    assert table.all_rates.emptied_early_pct[0] == pytest.approx(100 * 9 / 14)
    assert np.isnan(table.all_rates.rate_ml_h)


def test_still_in_place_beyond_an_empty_pump_is_told() -> None:
    (row,) = pump_table([2], [100], [70], [False], [6]).rows
    assert (row.emptied_early, row.untold) == (6, 0)


def test_without_a_run_time_it_is_counted_not_guessed() -> None:
    table = pump_table(
        [np.nan, 0, 2, 2], [100, 100, np.nan, 100], [72] * 4, [True] * 4, [1, 2, 3, 4]
    )
    assert table.without_runtime == 6
    assert table.all_rates.catheters == 4


def test_no_pump_at_all() -> None:
    table = pump_table([], [], [], [], [])
    assert table.rows == ()
    assert table.all_rates.catheters == 0
    assert np.isnan(table.all_rates.median_runtime_h)
