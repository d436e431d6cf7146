"""A total withheld in one table is not told by the table of its parts."""

import numpy as np
import polars as pl
import pytest

from pipeline.analysis.comparison.compare import compare
from pipeline.disclosure import Ledger, Policy
from pipeline.measures.catalogue import load_catalogue
from pipeline.report.compare_ledger import Pairs, enter_groups, groups_of, tells_few
from tests.analysis.networks import reduce, with_values

MEASURE = load_catalogue()["dislodgement"]
POLICY = Policy(11)
TYPES = ("hand", "sports", "trauma")
# Events of each site by surgeon type; avocet's twelve are all in one.
EVENTS = {"avocet": (12, 0, 0), "curlew": (7, 0, 0), "dunlin": (40, 30, 25)}
EACH = 120


@pytest.fixture(scope="module")
def counts():
    cells = [(s, t, e) for s, row in EVENTS.items() for t, e in zip(TYPES, row, strict=True)]
    frame = pl.DataFrame(
        {
            "site": [s for s, _, _ in cells for _ in range(EACH)],
            "surgeon_type": [t for _, t, _ in cells for _ in range(EACH)],
        }
    )
    y = np.concatenate([np.repeat([1, 0], [e, EACH - e]) for _, _, e in cells])
    return reduce(with_values(frame, y, np.ones(len(y))), ["site", "surgeon_type"])


def by(counts, factor):
    return compare(counts, by=factor, kind="proportion", fewest_aside=11)


def test_a_site_withheld_by_itself_is_not_told_by_its_surgeon_types(counts):
    alone = Ledger(POLICY)
    enter_groups(alone, "site", MEASURE, by(counts, "site"))
    assert {key[2] for key in alone.withheld()} == {"avocet", "curlew"}

    ledger = Ledger(POLICY)
    pairs = Pairs(ledger, "site", "surgeon_type")
    inside = {
        "site": {t: by(counts.where("surgeon_type", t), "site") for t in TYPES},
        "surgeon_type": {s: by(counts.where("site", s), "surgeon_type") for s in EVENTS},
    }
    pairs.add(MEASURE, counts, inside, {f: by(counts, f) for f in ("site", "surgeon_type")})
    pairs.enter()
    assert pairs.is_withheld_alone(MEASURE, "avocet")
    hidden = ledger.withheld()
    for stratum, comparison in inside["site"].items():
        groups = groups_of(comparison)
        rows = pairs.withheld(hidden, MEASURE, "site", stratum, groups)
        if stratum == "hand":
            # Avocet's twelve here are its twelve in all, which would tell curlew's seven.
            assert rows.figures[groups.index("avocet")]
            assert rows.figures[groups.index("curlew")]
        for site, is_hidden in zip(groups, rows.figures, strict=True):
            turned = pairs.withheld(hidden, MEASURE, "surgeon_type", site, [stratum])
            assert turned.figures[0] == is_hidden, "either way round withholds alike"


def test_few_events_of_all_groups_together_are_told_by_any_one_expected_number(counts):
    some = by(counts.where("surgeon_type", "hand"), "site")
    assert not tells_few(POLICY, MEASURE, some)
    few = by(counts.where("surgeon_type", "hand").having("site", ["curlew", "avocet"]), "site")
    assert not tells_few(POLICY, MEASURE, few)
    assert tells_few(Policy(20), MEASURE, few)
