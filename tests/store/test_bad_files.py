"""Every bad file has its message; nothing is lost and nothing is repeated from a record."""

from pathlib import Path

import pytest

from pipeline.errors import DwellError
from tests.store.bad_files import SET_ASIDE, STOPPED, Files
from tests.store.small import empty_store, load, rows, write


@pytest.fixture(autouse=True)
def _without_what_comes_after(monkeypatch: pytest.MonkeyPatch) -> None:
    """Leave out what a load makes of the good rows: it is tested elsewhere, and takes long."""
    monkeypatch.setattr("pipeline.store.load.make_ready", lambda _: None)
    monkeypatch.setattr("pipeline.store.load.run_checks", lambda _: [])


def ids(cases: list) -> list[str]:  # type: ignore[type-arg]
    return [case[0] for case in cases]


def test_there_are_enough_of_them() -> None:
    assert len(STOPPED) + len(SET_ASIDE) >= 60
    assert len({*ids(STOPPED), *ids(SET_ASIDE)}) == len(STOPPED) + len(SET_ASIDE)


@pytest.mark.parametrize(("name", "files", "kind", "message"), STOPPED, ids=ids(STOPPED))
def test_a_file_that_cannot_be_taken_stops_the_load(
    tmp_path: Path, name: str, files: Files, kind: type[DwellError], message: str
) -> None:
    db = tmp_path / "dwell.duckdb"
    with pytest.raises(kind, match=message) as caught:
        load(db, write(tmp_path / "in", files))
    assert len(str(caught.value).splitlines()) <= 2
    for leak in ("Wren", "wren@", "2014", "7946", "1120", "AB1"):
        assert leak not in str(caught.value)
    assert db.read_bytes() == empty_store()
    assert list(tmp_path.glob("dwell.duckdb*")) == [db]


@pytest.mark.parametrize(("name", "files", "expected"), SET_ASIDE, ids=ids(SET_ASIDE))
def test_a_bad_row_is_set_aside_under_its_rule(
    tmp_path: Path, name: str, files: Files, expected: tuple[str, int, str | None, str]
) -> None:
    db = tmp_path / "dwell.duckdb"
    result = load(db, write(tmp_path / "in", files))
    first = result.faults[0]
    assert (first.file_name, first.first_row, first.column) == expected[:3]
    assert first.rule.startswith(expected[3])
    kept = rows(db, "select count(*) from set_aside where raw <> ''")
    assert kept == [(sum(fault.rows for fault in result.faults),)]
    assert all(file.balances() for file in result.files)
