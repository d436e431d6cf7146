"""Stop a file in which something could identify a child, before any of it is stored."""

from collections.abc import Sequence

import duckdb

from pipeline.errors import PrivacyError
from pipeline.records.declaration import Field, Kind
from pipeline.records.key_forms import (
    DAY_OR_YEAR,
    FORMS,
    KEY_SCREENS,
    NO_FORM,
    KeyForm,
    KeyShape,
    column_forms,
    dated_keys,
    declared_form,
    likenesses,
)
from pipeline.records.plan import literal
from pipeline.records.screens import (
    CELL_SCREENS,
    PLACES,
    TEXT_SCREENS,
    TITLE_SCREENS,
    Screen,
    any_of,
)
from pipeline.store.one_row import count_of
from pipeline.store.staging import RAGGED, Staged

Connection = duckdb.DuckDBPyConnection
SAMPLE = 5000
ADVICE = "dwell pseudonymise FILE, on the site's own machine"
DECLARE = f'{ADVICE}; or declare the keys\' form in the mapping, as form = "AA9999"'
CONFIRM = "read them; where they name nobody, --confirm-titles"

# Logs that the programme writes itself: their keys are words, screened as their titles are.
PROGRAMMES_OWN = frozenset({"change", "action"})


def screen_keys(connection: Connection, staged: Staged, *, titles_confirmed: bool = False) -> None:
    """Screen every opaque key and printed text of a staged file.

    Parameters
    ----------
    titles_confirmed : bool
        Somebody has read the titles, labels and codes that the programme wrote itself.

    Raises
    ------
    PrivacyError
        A column holds what could identify a child; the message counts its rows.
    """
    for field in staged.record.fields:
        if field.kind is Kind.KEY and staged.record.name not in PROGRAMMES_OWN:
            if not field.refers_to:
                _screen_key(connection, staged, field, _kept_rows(staged))
                _screen_likeness(connection, staged, field.name)
        elif field.kind in {Kind.TEXT, Kind.LIST, Kind.KEY} or field.name == "site":
            values = _counted(field.name, _kept_rows(staged))
            _screen(connection, staged, field.name, values, TEXT_SCREENS)
            if not titles_confirmed:
                _screen(connection, staged, field.name, values, TITLE_SCREENS)


def _kept_rows(staged: Staged) -> str:
    """Return SQL for the rows of which a cell may be kept; see `staging.is_blank`."""
    uneven = staged.checks.index(RAGGED) if RAGGED in staged.checks else -1
    kept = f"(from {staged.table} where check_no is distinct from {uneven})"
    return kept if staged.binding.leaves_out else staged.table


def screen_kept(connection: Connection, staged: Staged, sent: str) -> None:
    """Screen every cell of the rows that are about to be set aside; raises as `screen_keys`."""
    fields = {field.name: field for field in staged.record.fields}
    # One look at whole rows first: a pattern of this size takes long to make.
    whole = f"(select raw as value, 1 as rows from {sent})"
    suspect = _told(connection, whole, rule_of(CELL_SCREENS, "value"))
    for name in staged.binding.kept if suspect else ():
        value = f"json_extract_string(raw, {literal(_path(name))})"
        is_text = name in fields and fields[name].kind in {Kind.TEXT, Kind.LIST}
        screens = TEXT_SCREENS if is_text else CELL_SCREENS
        _screen(connection, staged, name, _counted(value, sent), screens)
    for field in fields.values():  # others are set aside whatever they look like
        if field.refers_to and field.kind is Kind.KEY:
            rows = f"(from {staged.table} semi join {sent} using (row))"
            _screen_key(connection, staged, field, rows)


def _path(name: str) -> str:
    escaped = name.replace("\\", "\\\\").replace('"', '\\"')
    return f'$."{escaped}"'


def _counted(value: str, source: str) -> str:
    """Return SQL for the distinct values of a column, each with its rows."""
    return f"(select {value} as value, count(*) as rows from {source} group by value)"


def _screen(
    connection: Connection, staged: Staged, column: str, values: str, screens: Sequence[Screen]
) -> None:
    """Raise where one of `values`, as `_counted` gives them, breaks a screen."""
    is_title = screens is TITLE_SCREENS
    value = f"regexp_replace(value, {literal(PLACES)}, '-', 'g')" if is_title else "value"
    for rule, rows in _told(connection, values, rule_of(screens, value)):
        raise _stop(staged, column, rule, rows, CONFIRM if is_title else ADVICE)


def _told(connection: Connection, values: str, rule: str) -> list[tuple[str, int]]:
    """Return the rules that `values` break, the most frequent first; `rule` is SQL."""
    return connection.execute(
        f"select {rule} as rule, sum(rows) from {values} where value is not null"
        " group by rule having rule is not null order by sum(rows) desc, rule"
    ).fetchall()


def rule_of(screens: Sequence[Screen], value: str) -> str:
    """Return SQL for the first rule that a value breaks; null where it breaks none."""
    cases = "".join(
        f" when regexp_matches({value}, {literal(any_of(patterns))}) then {literal(rule)}"
        for rule, patterns in screens
    )
    return f"case{cases} end"


def key_rule(forms: Sequence[KeyForm]) -> str:
    """Return SQL that is null for a key of one of `forms`, and tells what another looks like."""
    return (
        f"case when {_is_of(forms)} then null"
        f" else coalesce({rule_of(KEY_SCREENS, 'value')}, {literal(NO_FORM)}) end"
    )


def _screen_key(connection: Connection, staged: Staged, field: Field, source: str) -> None:
    """Take keys of a known form, of the form that their column has, and those that are stored."""
    name, forms = field.name, _declared(staged, field) or FORMS
    values = f"(select {name} as value, 1 as rows from {source})"  # most stand there once
    if not count_of(connection, f"select count(*) from {values} where not {_is_of(forms)}"):
        return
    if forms is FORMS:
        forms = (*FORMS, *column_forms(_sample(connection, staged, name)))
    owner = field.refers_to or staged.record.name
    stored = f"(select {name} from {owner} where {name} is not null)"
    strangers = f"(from {values} where value not in {stored})"
    for rule, rows in _told(connection, strangers, key_rule(forms)):
        raise _stop(staged, name, rule, rows, DECLARE if rule == NO_FORM else ADVICE)


def _declared(staged: Staged, field: Field) -> tuple[KeyForm, ...]:
    """Return the form that the site's mapping declares for a column."""
    mapping = staged.source.mapping
    column = mapping.columns.get(field.name) if mapping else None
    return (declared_form(column.form),) if column and column.form else ()


def _is_of(forms: Sequence[KeyForm]) -> str:
    """Return SQL that is true of a value that has one of `forms`, null of none.

    A case asks no further once one fits; of an `or` the database asks all.
    """
    cases = " ".join(f"when {_has(form)} then true" for form in forms)
    return f"(case when value is null then null {cases} else false end)"


def _has(form: KeyForm) -> str:
    parts = [f"regexp_full_match(value, {literal(form.whole)})"]
    parts += [f"regexp_matches(value, {literal(pattern)})" for pattern in form.needs]
    if form.refuses:
        parts.append(f"not regexp_matches(value, {literal(any_of(form.refuses))})")
    return f"({' and '.join(parts)})"


def _sample(connection: Connection, staged: Staged, column: str) -> list[str]:
    every = max(1, staged.rows // SAMPLE)
    values = connection.execute(
        f"select distinct {column} from {staged.table}"
        f" where {column} is not null and row % {every} = 0"
    ).fetchall()
    return [value for (value,) in values]


def _screen_likeness(connection: Connection, staged: Staged, column: str) -> None:
    """Look for forms that single keys have by chance, and many have not."""
    dated = literal(DAY_OR_YEAR)
    keys = f"(select distinct {column} as k from {staged.table} where {column} is not null)"
    if count_of(connection, f"select count(*) from {keys} where regexp_matches(k, {dated})"):
        digits = "try_cast(regexp_replace(k, '[^0-9]', '', 'g') as bigint)"
        shapes = connection.execute(
            f"select count(*), count(*) filter (where regexp_matches(k, {dated})),"
            f" coalesce(min({digits}), 0), coalesce(max({digits}), 0),"
            f" count(distinct lower(regexp_replace(k, '[^A-Za-z]', '', 'g'))) from {keys}"
            " group by regexp_replace(regexp_replace(k, '[A-Za-z]', 'A', 'g'), '[0-9]', '9', 'g')"
        ).fetchall()
        count = dated_keys([KeyShape(*shape) for shape in shapes])
        if count:
            raise _stop(staged, column, "a date", count, DECLARE)
    for rule, count in likenesses(_sample(connection, staged, column)):
        raise _stop(staged, column, rule, count, ADVICE)


def _stop(staged: Staged, column: str, rule: str, rows: int, advice: str) -> PrivacyError:
    where = f"{rows:,} rows" if rows > 1 else "1 row"
    return PrivacyError(
        f"{staged.source.path.name}: column {column} looks like {rule} in {where};"
        " nothing was stored.",
        try_next=advice,
    )
