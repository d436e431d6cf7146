"""What a key must be, and what a printed text must not hold (all invented)."""

import random
import string
import uuid
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import duckdb
import pytest

from pipeline.errors import PrivacyError
from pipeline.records.binding import Binding
from pipeline.records.key_forms import FORMS
from pipeline.records.keys import pseudonym
from pipeline.records.layout import RECORDS
from pipeline.records.mapping import ColumnMapping, RecordMapping
from pipeline.records.screens import CELL_SCREENS, every_pattern
from pipeline.records.sources import Form, SourceFile
from pipeline.store.screening import key_rule, screen_keys
from pipeline.store.staging import Staged

REFUSED = {
    "a name": [
        "HERON_WREN_2011", "Wren.Heron", "wren.heron", "Wren Heron", "heron, wren", "Wren",
        "WREN", "wren2011", "WrenHeron07", "Wren-Heron-3", "Mary-Anne O’Wren", "mary_anne",
        "Dr Wren", "Dr. Wren", "Mr_Heron", "Master Wren", "Mrs W Heron", "Prof.Heron",
        "Miss_Wren_H", "H. Wren", "W Heron", "heronw", "w.heron", "HERON W", "heron_w_11",
        "Herón", "Ørnfugl", "Иван Журавль", "журавль", "Ιβίς", "山田", "山田 太郎", "김두루미",
        "طائر", "ציפור", "นกกระสา", "सारस", "van der Heron", "de_la_Wren", "Wren (left knee)",
        "Baby Heron", "twin2heron",
        "Q7-KIRA84X", "e 1 (left)", "HERONWREN", "Heron/Wren", "Heron|Wren", "O'Wren", "Wren Jr",
    ],
    "a date": [
        "2014-05-06", "2014_05_06", "2014/05/06", "2014.05.06", "pt_2014-05-06", "pt_20140506",
        "pt20140506", "20140506", "06052014", "6.5.2014", "06/05/14", "06_05_2014", "06-05-14",
        "2014-05-06T10:30", "20140506T1030", "2014-05-06_2", "12 December 2014", "Dec 12, 2014",
        "6May2014", "06_MAY_14", "e1-2014-05-06", "dob_2014-05-06", "born 2014-05-06",
    ],
    "a telephone number": [
        "+44 20 7946 0000", "(020) 7946", "555-010-0199", "555_010_0199", "555.010.0199",
        "020_7946_0000", "02079460000", "07700900123", "004930123456", "+49_30_1234567",
    ],
    "a hospital number": [
        "5550100199", "MRN0048213", "MRN-48213", "mrn_48213", "00482137", "4821937", "12345678",
        "NHS 4821", "chi_12345", "HN12345678", "M1234567", "hosp 48213", "AB1234567",
    ],
    "a national number": [
        "078-05-1120", "078_05_1120", "140506-1234", "060514A123B", "123.456.789-09",
        "RSSMRA14D06H501W",
    ],
    "a postcode": ["AB1 2CD", "ab1_2cd", "1234 AB", "K1A 0B1"],
    "an address": [
        "12 Heron Lane", "12_Heron_Lane", "7b Wren Street", "Wrenstrasse 12", "Reihergasse_7",
        "rue du Héron 12", "12, Great Heron Road",
    ],
    "an e-mail address": ["wren@example.org", "wren.heron@example.org"],
    "no opaque key": ["?", "#1", "n/a", "e1\ne2", "=1+1"],
}  # fmt: skip
TAKEN = [
    "e1", "E000123", "ehwjtbfc", "QWXKZP", "k_9", "2025-0012", "01-0001-003", "pt_0012", "P-17",
    "case 12", "Study-0042", "S01-E0001", "AB-1234", "12", "100234", "ep.3.17", "a1b2c3",
    "3f9a2c71d03f9a2c", "550e8400-e29b-41d4-a716-446655440000", "p24zh73zxbxjob4mpwpde",
    "XbQ0zT5fR1mK8cV2nP9sLw", "row 7", "visit_3", "C12/4", "1-2", "L4",
]  # fmt: skip
OPAQUE = [f"e{i:05}" for i in range(1, 81)]


@pytest.fixture(scope="module")
def database() -> Iterator[duckdb.DuckDBPyConnection]:
    with duckdb.connect() as connection:
        for name, record in RECORDS.items():
            columns = ", ".join(f"{column} varchar" for column in record.columns)
            connection.execute(f"create table {name} ({columns})")
        yield connection


def told(
    connection: duckdb.DuckDBPyConnection,
    values: Sequence[str],
    column: str = "patient_key",
    record: str = "episode",
    mapping: RecordMapping | None = None,
    **more: Any,
) -> str | None:
    """Return what a load would say of a column with these values; None where it takes them."""
    connection.execute(f"create or replace temp table stage_0 as from {record} limit 0")
    connection.execute("alter table stage_0 add column row bigint")
    connection.execute(
        f"insert into stage_0 ({column}, row) select unnest(?), unnest(range(1, ?))",
        [list(values), len(values) + 1],
    )
    source = SourceFile(record, Path(f"{record}.csv"), Form.CSV, "", 0, mapping=mapping)
    staged = Staged(source, RECORDS[record], Binding({}, {}, {}), "stage_0", (), len(values), False)
    try:
        screen_keys(connection, staged, **more)
    except PrivacyError as error:
        return error.message
    return None


@pytest.fixture(scope="module")
def rules(database: duckdb.DuckDBPyConnection) -> dict[str, str | None]:
    """Return what every key of the lists looks like, by itself, in one look."""
    values = [*(value for values in REFUSED.values() for value in values), *TAKEN]
    found = database.execute(
        f"select value, {key_rule(FORMS)} from (select unnest(?) as value)", [values]
    )
    return dict(found.fetchall())


@pytest.mark.parametrize(
    ("value", "rule"), [(value, rule) for rule, values in REFUSED.items() for value in values]
)
def test_a_key_that_could_identify_is_refused(
    rules: dict[str, str | None], value: str, rule: str
) -> None:
    assert rules[value] == rule


@pytest.mark.parametrize("value", TAKEN)
def test_an_opaque_key_is_taken(rules: dict[str, str | None], value: str) -> None:
    assert rules[value] is None


@pytest.mark.parametrize(("rule", "values"), REFUSED.items(), ids=REFUSED)
def test_one_such_key_among_eighty_others_stops_the_load(
    database: duckdb.DuckDBPyConnection, rule: str, values: list[str]
) -> None:
    said = f"episode.csv: column patient_key looks like {rule} in 1 row; nothing was stored."
    assert told(database, [*OPAQUE, values[0]]) == said
    said = said.replace("1 row", f"{len(values):,} rows")
    assert told(database, [*OPAQUE, *values]) == said


def test_there_are_enough_keys() -> None:
    assert sum(map(len, REFUSED.values())) + len(TAKEN) >= 120


chance = random.Random(5)
LOWER, UPPER = string.ascii_lowercase + string.digits, string.ascii_uppercase + string.digits


def random_keys(alphabet: str, length: int, count: int = 300, before: str = "") -> list[str]:
    return [before + "".join(chance.choices(alphabet, k=length)) for _ in range(count)]


COLUMNS = {
    "hexadecimal": random_keys("0123456789abcdef", 10),
    "hexadecimal, long": random_keys("0123456789ABCDEF", 32, 2000),
    "letters and digits": random_keys(LOWER, 8),
    "capitals and digits": random_keys(UPPER, 7),
    "with a prefix": random_keys(LOWER, 9, before="P-"),
    "both cases": random_keys(string.ascii_letters + string.digits, 12),
    "made by dwell": [pseudonym(b"k" * 16, "patient_key", str(i)) for i in range(2000)],
    "identifiers": [str(uuid.UUID(int=chance.getrandbits(128))) for _ in range(2000)],
    "numbers that run on": [str(i) for i in range(1_000_250, 1_000_600)],
    "six digits that run on": [f"e{i}" for i in range(110_301, 110_330)],
    "by place": [f"{place}-{i}" for place in ("avocet", "dunlin") for i in range(20)],
    "codes with letters": [
        f"{a}{b}-{i:04}" for i, (a, b) in enumerate(zip(UPPER, LOWER[:26], strict=False))
    ],
}


@pytest.mark.parametrize("keys", COLUMNS.values(), ids=COLUMNS)
def test_a_column_of_codes_is_taken_and_a_name_in_it_is_not(
    database: duckdb.DuckDBPyConnection, keys: list[str]
) -> None:
    assert told(database, keys) is None
    for value in ("HERON_WREN_2011", "wren", "pt_2014-05-06"):
        assert "in 1 row" in str(told(database, [*keys, value]))


@pytest.mark.parametrize(
    ("keys", "rule"),
    [
        (["pt_140506"], "a date in 1 row"),
        ([*OPAQUE, "pt_140506"], "a date in 1 row"),
        ([f"p{y:02}{m:02}15" for y in range(5, 18) for m in (2, 9)], "a date in 26 rows"),
        ([*OPAQUE, "WH2014"], "a date in 1 row"),
        (["WH_2004", "EA_2009", "KR_2011"], "a date in 3 rows"),
        ([f"{chance.randrange(10**7, 10**8)}" for _ in range(200)], "a hospital number"),
        ([f"heron{i}" for i in range(4)], "a name in 4 rows"),
        ([f"{a}eron{2004 + i}" for i, a in enumerate("bcdfghklmnprstvwxz")], "a name in 18 rows"),
        (["AB12CD", "EF34GH", "IJ56KL", "MN78OP"], "a postcode in 4 rows"),
    ],
)  # fmt: skip
def test_a_column_tells_what_single_keys_do_not(
    database: duckdb.DuckDBPyConnection, keys: list[str], rule: str
) -> None:
    assert f"looks like {rule}" in str(told(database, keys))


def declared(form: str) -> RecordMapping:
    return RecordMapping("episode", "x.csv", {"patient_key": ColumnMapping("Key", form=form)})


@pytest.mark.parametrize(
    ("form", "values", "taken"),
    [
        ("99999999", ["48213377", "90125590"], True),
        ("99999999", ["20140506", "20150607", "20160708", "20170809"], False),
        ("99999999", ["48213377", "wren"], False),
        ("AAA-99X", ["ABE-12k", "EVE-449"], True),
        ("AAA-99X", ["ABE-12k", "EVE-1"], False),
        # 943 476 5919 is the example number of the NHS data dictionary (recalled).
        ("9999999999", ["9434765919"] * 4, False),
    ],
)
def test_a_mapping_declares_the_form_of_its_keys(
    database: duckdb.DuckDBPyConnection, form: str, values: list[str], taken: bool
) -> None:
    distinct = list(dict.fromkeys(values))
    if len(distinct) < len(values):  # the same form again: another number with its check digit
        distinct += ["9876543210", "4010232137", "9000000009"]
    assert (told(database, distinct, mapping=declared(form)) is None) is taken


def test_a_key_that_is_stored_is_taken_again(database: duckdb.DuckDBPyConnection) -> None:
    database.execute("insert into episode (patient_key) values ('qavx0e')")
    assert told(database, ["qavx0e"]) is None
    assert told(database, ["qavx0a"]) is not None
    database.execute("delete from episode")


TITLES = [
    ("Wren Heron, born 6 May 2014, 12 Heron Lane", "a date"), ("Glue for Wren Heron", "a name"),
    ("Dr Heron moved", "a name"), ("12 Heron Lane", "an address"), ("Case 4821937", "a number"),
    ("HERON_WREN_2014", "a name"), ("HERON WREN", "a name"), ("From 2024-03-01 on", "a date"),
    ("山田 太郎", "a name"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("record", "column"),
    [("change", "title"), ("site", "label"), ("site", "site"), ("episode", "site")],
)
def test_a_title_that_could_name_somebody_asks_to_be_confirmed(
    database: duckdb.DuckDBPyConnection, record: str, column: str
) -> None:
    for text, rule in TITLES if column == "title" else TITLES[:2]:
        assert f"looks like {rule}" in str(told(database, [text], column, record)), text
    texts = [text for text, _ in TITLES]
    assert told(database, texts, column, record, titles_confirmed=True) is None


@pytest.mark.parametrize("text", ["Ring 020 7946 0000", "wren@example.org", "078-05-1120"])
def test_nobody_can_confirm_a_telephone_number(
    database: duckdb.DuckDBPyConnection, text: str
) -> None:
    assert told(database, [text], "title", "change", titles_confirmed=True) is not None


def test_ordinary_titles_pass(database: duckdb.DuckDBPyConnection) -> None:
    texts = [
        "Skin entry glued and anchored at two points", "Text message before the daily call",
        "Avocet", "Dunlin Children's Hospital", "Day Surgery Unit North", "avocet", "site_03",
        "Removal advised before noon", "2 nurses from 8 to 20 h", "Phase 2 of 3: 48 h plans",
    ]  # fmt: skip
    assert told(database, texts, "title", "change") is None
    assert told(database, texts, "label", "site") is None


@pytest.mark.parametrize("value", ["Foot", "end of course", "1.5", "2025-0112", "10000000000"])
def test_a_cell_may_hold_words_and_numbers(database: duckdb.DuckDBPyConnection, value: str) -> None:
    found = database.execute("select regexp_matches(?, ?)", [value, every_pattern(CELL_SCREENS)])
    assert found.fetchall() == [(False,)]
