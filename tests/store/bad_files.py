# ruff: noqa: E501
"""Bad files, each with what is said about it (all invented).

`STOPPED` are files of which nothing is loaded: name, files, and the message. `SET_ASIDE`
are files with one bad row: name, files, and file, row, column and rule.
"""

import codecs

from pipeline.errors import DwellError, InputError, PrivacyError
from tests.store.small import CONTACT, EPISODE, SITE, VISIT, contact, episode

Files = dict[str, str | bytes]

GOOD = {"episode.csv": EPISODE + episode()}
HEAD = EPISODE.strip()


def without(column: str) -> str:
    """Return a good episode file that lacks a column."""
    names = HEAD.split(",")
    position = names.index(column)
    lines = [HEAD.split(","), episode().strip().split(",")]
    return "\n".join(",".join(c for i, c in enumerate(ln) if i != position) for ln in lines) + "\n"


def keys(column: str, *values: str) -> Files:
    """Return an episode file whose rows have these values in an opaque key."""
    lines = [
        episode(**({"key": f"e{i}", "order": i} | {column: value}))
        for i, value in enumerate(values, 1)
    ]
    return {"episode.csv": EPISODE + "".join(lines)}


STOPPED: list[tuple[str, Files, type[DwellError], str]] = [
    ("empty folder", {}, InputError, "holds no record files"),
    ("only a text file", {"read me.txt": "hello"}, InputError, "holds no record files"),
    ("empty file", {"episode.csv": ""}, InputError, "episode.csv is empty"),
    ("blank file", {"episode.csv": "\n\n"}, InputError, "episode.csv is empty: it has no header"),
    ("no episodes", {"contact.csv": CONTACT + contact()}, InputError, "no episode file"),
    ("unknown record", GOOD | {"patients.csv": "a\n1\n"}, InputError, "patients.csv is none of the records"),
    ("record twice", GOOD | {"episode.parquet": b"x"}, InputError, "holds episode.csv and episode.parquet"),
    ("parquet that is none", {"episode.parquet": b"PAR1 no, not really PAR1"}, InputError, "episode.parquet is not a Parquet file"),
    ("workbook that is none", GOOD | {"contact.xlsx": b"PK no"}, InputError, "contact.xlsx is not a workbook"),
    ("unknown column", {"episode.csv": HEAD + ",shoe_size\n" + episode().strip() + ",4\n"}, InputError, "column shoe_size is not in the layout"),
    ("misspelt column", {"episode.csv": EPISODE.replace("removal_reason", "removal_resaon") + episode()}, InputError, "(?s)removal_resaon.*removal_reason"),
    ("free text column", {"episode.csv": HEAD + ",comment\n" + episode().strip() + ",fine\n"}, InputError, "column comment is not in the layout"),
    ("column twice", {"episode.csv": HEAD + ",site\n" + episode().strip() + ",avocet\n"}, InputError, "columns 3 and 13 have one name"),
    ("column without a name", {"episode.csv": HEAD + ",\n" + episode().strip() + ",\n"}, InputError, "column 13 has no name"),
    ("no key column", {"episode.csv": without("episode_id")}, InputError, "column episode_id is missing"),
    ("no site column", {"episode.csv": without("site")}, InputError, "column site is missing"),
    ("no header", {"episode.csv": episode() + episode("e2", 2)}, InputError, "the first row names no column of episode"),
    ("no header, with names", {"episode.csv": "Wren Heron,2014-05-06,site\n" + episode()}, InputError, "column 1 is not in the layout"),
    ("no header, a cell twice", {"episode.csv": "Wren,Wren,site\n"}, InputError, "columns 1 and 2 have one name"),
    ("open quote", {"episode.csv": EPISODE + '"e1,p1\n'}, InputError, "quotes do not match"),
    ("open quote in the middle", {"episode.csv": EPISODE + episode() + episode("e2", 2).replace("p1", '"p1')}, InputError, "quotes do not match"),
    ("UTF-16 without its mark", {"episode.csv": (EPISODE + episode()).encode("utf-16-le")}, InputError, "episode.csv is no plain text, or is UTF-16 without its mark"),
    ("a picture by that name", {"episode.csv": b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR" + bytes(500)}, InputError, "episode.csv is no plain text"),
    ("only a spreadsheet's line", {"episode.csv": "sep=;\n\n"}, InputError, "is empty: it has no header"),
    ("giant cell", {"episode.csv": EPISODE + episode() + episode("e2", 2, surgeon_type="x" * 9_000_000)}, InputError, "row 3: a cell has more than 1,048,576 characters"),
    ("giant cell in quotes", {"episode.csv": EPISODE + episode(surgeon_type='"' + "x\n" * 5_000_000 + '"')}, InputError, "row 2: a cell has more than 1,048,576 characters"),
    ("giant header", {"episode.csv": "x" * 3_000_000 + "\n"}, InputError, "episode.csv: the header cannot be read|names no column"),
    ("thousands of columns", {"episode.csv": ",".join(f"c{i}" for i in range(20_000)) + "\n"}, InputError, "episode.csv has 20,000 columns; at most 1,000"),
    ("open in a spreadsheet program", GOOD | {"~$episode.xlsx": b"wren"}, InputError, "episode.xlsx is open in a spreadsheet program"),
    ("spreadsheet as CSV", {"episode.csv": b"PK\x03\x04" + bytes(200)}, InputError, "episode.csv is no plain text"),
    ("page in place of a file", {"episode.csv": "<!doctype html>\n<html><body>sign in</body></html>\n"}, InputError, "the first row names no column of episode"),
    ("name in a site's label", GOOD | {"site.csv": SITE + "avocet,Wren Heron,\n"}, PrivacyError, "label looks like a name in 1 row"),
    ("child in a title", GOOD | {"change.csv": "change_id,started_month,sites,title\nc1,2025-01,all,\"Leaflet for Wren Heron, born 2014-05-06\"\n"}, PrivacyError, "title looks like a date"),
    ("name as a site without a site table", {"episode.csv": EPISODE + episode(site="HERON_WREN")}, PrivacyError, "site looks like a name in 1 row"),
    ("name in a reference that fits nothing", GOOD | {"contact.csv": CONTACT + contact(of="HERON_WREN_2014")}, PrivacyError, "episode_id looks like a name in 1 row"),
    ("name as patient key", keys("patient_key", "Wren Heron"), PrivacyError, "patient_key looks like a name in 1 row"),
    ("first name as key", keys("patient_key", "Wren"), PrivacyError, "patient_key looks like a name"),
    ("surname first", keys("patient_key", '"Heron, Wren"'), PrivacyError, "looks like a name"),
    ("e-mail as key", keys("patient_key", "wren@example.org"), PrivacyError, "looks like an e-mail address in 1 row"),
    ("date as key", keys("patient_key", "2014-05-06"), PrivacyError, "looks like a date"),
    ("date in words", keys("patient_key", "6 May 2014"), PrivacyError, "looks like a date"),
    ("dates in digits", keys("patient_key", "20140506", "20150607"), PrivacyError, "looks like a date"),
    ("telephone", keys("patient_key", "+49 30 1234567"), PrivacyError, "looks like a telephone number"),
    ("telephone, local", keys("patient_key", "020 7946 0000"), PrivacyError, "looks like a telephone number"),
    ("national number, dashes", keys("patient_key", "078-05-1120"), PrivacyError, "looks like a national number"),
    ("national number, birth date", keys("patient_key", "140506-1234"), PrivacyError, "looks like a national number"),
    ("national numbers with a check digit", keys("patient_key", "9434765919", "9876543210", "4010232137", "9000000009"), PrivacyError, "looks like a hospital number"),
    ("postcode", keys("patient_key", "AB1 2CD"), PrivacyError, "looks like a postcode"),
    ("one leak in many rows", keys("patient_key", *(f"p{i}" for i in range(40)), "wren@example.org"), PrivacyError, "in 1 row"),
    ("date of birth in a number", {"episode.csv": EPISODE + episode(age_years="06.05.2014")}, PrivacyError, "age_years looks like a date"),
    ("name in a code", {"episode.csv": EPISODE + episode(surgeon_type="Wren Heron")}, PrivacyError, "surgeon_type looks like a name"),
    ("telephone in a site's label", GOOD | {"site.csv": SITE + "avocet,Avocet +49 30 1234567,\n"}, PrivacyError, "label looks like a telephone number"),
]  # fmt: skip

ONE = {"episode.csv": 2}


def bad(**cells: object) -> Files:
    """Return a file with one episode that has these cells."""
    return {"episode.csv": EPISODE + episode(**cells)}  # type: ignore[arg-type]


def bad_contact(**cells: object) -> Files:
    """Return a good episode with one contact that has these cells."""
    return GOOD | {"contact.csv": CONTACT + contact(**cells)}  # type: ignore[arg-type]


E, C, V = "episode.csv", "contact.csv", "visit.csv"
NUMBER = "must be a number, such as 12 or 31.5"
EDGE = GOOD | {V: VISIT}
SET_ASIDE: list[tuple[str, Files, tuple[str, int, str | None, str]]] = [
    ("unreadable number", bad(weight_kg="heavy"), (E, 2, "weight_kg", NUMBER)),
    ("decimal comma", bad(weight_kg='"31,5"'), (E, 2, "weight_kg", NUMBER)),
    ("unit in a number", bad(weight_kg="31 kg"), (E, 2, "weight_kg", NUMBER)),
    ("digits with underscores", bad(weight_kg="1_0"), (E, 2, "weight_kg", NUMBER)),
    ("not a number", bad(weight_kg="nan"), (E, 2, "weight_kg", NUMBER)),
    ("infinite", bad(removed_h="inf"), (E, 2, "removed_h", NUMBER)),
    ("broken whole number", bad(age_years="9.5"), (E, 2, "age_years", "must be a whole number")),
    ("whole number in words", bad(age_years="nine"), (E, 2, "age_years", "must be a whole number")),
    ("age too high", bad(age_years=22), (E, 2, "age_years", "must lie between 0 and 21 years")),
    ("age below zero", bad(age_years=-1), (E, 2, "age_years", "must lie between 0 and 21 years")),
    ("weight in grams", bad(weight_kg=31500), (E, 2, "weight_kg", "must lie between 2 and 200 kg")),
    ("plan too long", bad(planned_dwell_h=169), (E, 2, "planned_dwell_h", "must lie between 12 and 168 hours")),
    ("no plan", bad(planned_dwell_h=""), (E, 2, "planned_dwell_h", "must not be empty")),
    ("no key", bad(key=""), (E, 2, "episode_id", "must not be empty")),
    ("blank key", bad(key="  "), (E, 2, "episode_id", "must not be empty")),
    ("no month", bad(placed_month=""), (E, 2, "placed_month", "must not be empty")),
    ("month 13", bad(placed_month="2025-13"), (E, 2, "placed_month", "must be a month, YYYY-MM")),
    ("month of no year", bad(placed_month="0000-01"), (E, 2, "placed_month", "must be a month, YYYY-MM")),
    ("month of long ago", bad(placed_month="1025-04"), (E, 2, "placed_month", "must be a month, YYYY-MM")),
    ("month without its nought", bad(placed_month="2025-4"), (E, 2, "placed_month", "must be a month, YYYY-MM")),
    ("hours beyond any", bad(removed_h="1e300"), (E, 2, "removed_h", "must lie between 0 and 8784 hours since placement")),
    ("hours that were minutes", bad(removed_h=9000), (E, 2, "removed_h", "must lie between 0 and 8784 hours since placement")),
    ("number too large for any type", bad(weight_kg="1e400"), (E, 2, "weight_kg", NUMBER)),
    ("hexadecimal number", bad(weight_kg="0x1F"), (E, 2, "weight_kg", NUMBER)),
    ("month in words", bad(placed_month="April"), (E, 2, "placed_month", "must be a month, YYYY-MM")),
    ("month to come", bad(placed_month="2026-02"), (E, 2, "placed_month", "placed_month must not be later than the month of extraction.")),
    ("order 0", bad(order=0), (E, 2, "month_order", "must be at least 1")),
    ("order beyond any", bad(order=10**12), (E, 2, "month_order", "must be at least 1")),
    ("unknown code", bad(surgeon_type="robotics"), (E, 2, "surgeon_type", "must be one of the codes of the layout")),
    ("code in capitals", bad(surgeon_type="SPORTS"), (E, 2, "surgeon_type", "must be one of the codes of the layout")),
    ("unknown reason", bad(removal_reason="because"), (E, 2, "removal_reason", "must be one of the codes of the layout")),
    ("reason without a removal", bad(removed_h=""), (E, 2, "removal_reason", "A removal reason needs a removal time or interval.")),
    ("removal before placement", bad(removed_h=-1), (E, 2, "removed_h", "must lie between 0 and 8784 hours since placement")),
    ("removal after 14 days", bad(removed_h=336.5), (E, 2, "removed_h", "A removal later than 14 days is questioned: set aside until it is confirmed.")),
    ("too few cells", {E: EPISODE + "e1,p1\n"}, (E, 2, None, "has more or fewer cells than the header")),
    ("too many cells", {E: EPISODE + episode().strip() + ",x\n"}, (E, 2, None, "has more or fewer cells than the header")),
    ("fault after blank lines", {E: EPISODE + "\n\n" + episode(age_years="x")}, (E, 4, "age_years", "must be a whole number")),
    ("fault after a leading blank line", {E: "\n \n" + EPISODE + episode(age_years="x")}, (E, 4, "age_years", "must be a whole number")),
    ("fault after a spreadsheet's line", {E: "sep=;\n" + (EPISODE + episode(age_years="x")).replace(",", ";")}, (E, 3, "age_years", "must be a whole number")),
    ("fault in UTF-16", {E: (EPISODE + episode(age_years="x")).encode("utf-16")}, (E, 2, "age_years", "must be a whole number")),
    ("fault in UTF-16, the other way round", {E: codecs.BOM_UTF16_BE + (EPISODE + episode(age_years="x")).encode("utf-16-be")}, (E, 2, "age_years", "must be a whole number")),
    ("fault beside a Mac's notes", {E: EPISODE + episode(age_years="x"), "._episode.csv": b"\0\5\x16\7"}, (E, 2, "age_years", "must be a whole number")),
    ("fault behind old Macs' line ends", {E: (EPISODE + episode(age_years="x")).replace("\n", "\r")}, (E, 2, "age_years", "must be a whole number")),
    ("fault in a last line without an end", {E: (EPISODE + episode(age_years="x")).rstrip()}, (E, 2, "age_years", "must be a whole number")),
    ("site code with a terminal's escape", bad(site="\x1b[2Javocet"), (E, 2, "site", "must be text of 200 characters at most")),
    ("label with a terminal's escape", GOOD | {"site.csv": SITE + "avocet,\x1b[31mAvocet,\n"}, ("site.csv", 2, "label", "must be text of 200 characters at most")),
    ("label written backwards", GOOD | {"site.csv": SITE + "avocet,Avo\u202ecet,\n"}, ("site.csv", 2, "label", "must be text of 200 characters at most")),
    ("label without an end", GOOD | {"site.csv": SITE + f"avocet,{'a ' * 200},\n"}, ("site.csv", 2, "label", "must be text of 200 characters at most")),
    ("fault after a line break in quotes", {E: EPISODE + episode(weight_kg='"31.5\n"') + episode("e2", 2, age_years="x")}, (E, 3, "age_years", "must be a whole number")),
    ("fault in a file with a byte order mark", {E: b"\xef\xbb\xbf" + (EPISODE + episode(age_years="x")).encode()}, (E, 2, "age_years", "must be a whole number")),
    ("fault behind carriage returns", {E: (EPISODE + episode(age_years="x")).replace("\n", "\r\n")}, (E, 2, "age_years", "must be a whole number")),
    ("fault between semicolons", {E: (EPISODE + episode(age_years="x")).replace(",", ";")}, (E, 2, "age_years", "must be a whole number")),
    ("Latin-1", {E: (EPISODE + episode(surgeon_type="Fuß")).encode("latin-1")}, (E, 2, "surgeon_type", "must be one of the codes of the layout")),
    ("unlisted site", GOOD | {"site.csv": SITE + "curlew,Curlew,\n"}, (E, 2, "site", "must be listed in the site table")),
    ("place taken", {E: EPISODE + episode("e1", 1) + episode("e2", 1)}, (E, 2, "month_order", "must be unique within site and placed_month")),
    ("key twice", {E: EPISODE + episode("e1", 1) + episode("e1", 2)}, (E, 2, "episode_id", "must appear once in a file")),
    ("contact without its episode", bad_contact(of="e9"), (C, 2, "episode_id", "must be a stored episode_id")),
    ("contact of a rejected episode", bad(age_years="x") | {C: CONTACT + contact()}, (E, 2, "age_years", "must be a whole number")),
    ("contact before placement", bad_contact(at_h=-2), (C, 2, "at_h", "must lie between 0 and 8784 hours since placement")),
    ("contact beyond any time", bad_contact(at_h="1e300"), (C, 2, "at_h", "must lie between 0 and 8784 hours since placement")),
    ("contact at no time", bad_contact(at_h=""), (C, 2, "at_h", "must not be empty")),
    ("neither yes nor no", bad_contact(reached="perhaps"), (C, 2, "reached", "must be yes or no")),
    ("visit of an unknown kind", EDGE | {V: VISIT + "v1,e1,50,spa,pain\n"}, (V, 2, "kind", "must be one of the codes of the layout")),
    ("site without a label", GOOD | {"site.csv": SITE + "avocet,,\n"}, ("site.csv", 2, "label", "must not be empty")),
    ("change at a list that is none", GOOD | {"change.csv": "change_id,started_month,sites,title\nc1,2025-01,at all of them,Leaflet\n"}, ("change.csv", 2, "sites", "must be codes separated by semicolons")),
]  # fmt: skip
