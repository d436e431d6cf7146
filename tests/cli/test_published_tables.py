"""All tables that compare can publish, put together: what is withheld stays withheld.

The reader of `tests/test_disclosure.py` has the tables by site, by surgeon type, and by
either inside of the other, and the whole network's figures besides.
"""

import json

import pytest
from click.testing import CliRunner

from pipeline.cli.main import dwell
from pipeline.settings import SMALL_CELL
from synthetic_data import write_folder
from tests.test_disclosure import Reader

TABLES = ("site", "surgeon_type", "site,surgeon_type", "surgeon_type,site")
EPISODES = 2500  # few, so that much is withheld


@pytest.fixture(scope="module")
def store_file(tmp_path_factory):
    place = tmp_path_factory.mktemp("few")
    write_folder(place / "records", episodes=EPISODES)
    path = place / "dwell.duckdb"
    done = CliRunner().invoke(dwell, ["load", str(place / "records"), "--db", str(path)])
    assert done.exit_code == 0, done.output
    return path


def rows(store_file, by, *words):
    done = CliRunner().invoke(
        dwell, ["compare", "--by", by, "--db", str(store_file), "--format", "json", *words]
    )
    assert done.exit_code == 0, done.output
    return json.loads(done.stdout)


def cell_of(by, group):
    """Site and surgeon type of a row, "all" where it is of all."""
    named = dict(zip(by.split(","), group.split(", "), strict=True))
    return named.get("site", "all"), named.get("surgeon_type", "all")


def everything(store_file, measure):
    """True counts of every cell, and the cells that any shared table shows."""
    truth, shown = {}, set()
    for by in TABLES:
        for row in rows(store_file, by, "--measure", measure, "--audience", "committee"):
            counts = {"event": row["numerator"], "all": row["episodes"]}
            counts["none"] = counts["all"] - counts["event"]
            truth |= {(*cell_of(by, row["group"]), c): n for c, n in counts.items()}
        for row in rows(store_file, by, "--measure", measure):
            cell = cell_of(by, row["group"])
            if row["episodes"] is not None:
                shown.add((*cell, "all"))
            if row["numerator"] is not None:
                shown |= {(*cell, "event"), (*cell, "none")}
    for column in ("event", "none", "all"):
        whole = [n for (site, kind, c), n in truth.items() if (kind, c) == ("all", column)]
        truth["all", "all", column] = sum(whole)
        shown.add(("all", "all", column))
    return truth, shown


def sums_of(truth):
    """Every sum that a reader knows: columns, sites, surgeon types, and the whole."""
    sums = []
    for site, kind, _ in {(*cell[:2], "") for cell in truth}:
        sums.append(((site, kind, "all"), [(site, kind, "event"), (site, kind, "none")]))
    for at, other in ((0, 1), (1, 0)):
        for label in {cell[at] for cell in truth}:
            for column in ("event", "none", "all"):
                parts = [
                    c for c in truth if c[at] == label and c[other] != "all" and c[2] == column
                ]
                total = (label, "all", column) if at == 0 else ("all", label, column)
                if parts and total in truth:
                    sums.append((total, parts))
    return sums


@pytest.mark.parametrize("measure", ["dislodgement", "unplanned_visit"])
def test_no_table_tells_what_another_withholds(store_file, measure):
    truth, shown = everything(store_file, measure)
    sums = sums_of(truth)
    for total, parts in sums:
        assert truth[total] == sum(truth[part] for part in parts)
    assert not [cell for cell in shown if 0 < truth[cell] < SMALL_CELL]
    hidden = set(truth) - shown
    reader = Reader(truth, sums, hidden)
    few = [cell for cell in hidden if 0 < truth[cell] < SMALL_CELL]
    assert len(few) > 20
    for cell in few:
        assert reader.leaves(cell, 1), cell
    margins = [cell for cell in hidden if "all" in cell[:2]]
    assert margins, "some total is withheld, which pairs could tell"
    for cell in margins:
        assert reader.leaves(cell, 1), cell


def test_what_is_expected_of_one_group_tells_no_few(store_file):
    """Unadjusted, it is the others' rate: where all have few together, it is withheld."""
    words = ("site,surgeon_type", "--measure", "unplanned_visit")
    totals = {}
    for row in rows(store_file, *words, "--audience", "committee"):
        kind = row["group"].split(", ")[1]
        totals[kind] = totals.get(kind, 0) + row["numerator"]
    few = {kind for kind, total in totals.items() if 0 < total < SMALL_CELL}
    assert few
    for row in rows(store_file, *words, "--no-adjust"):
        assert row["expected"] is None or row["group"].split(", ")[1] not in few
