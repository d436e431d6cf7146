"""Bind a site's own export to the layout, as its mapping says."""

from collections.abc import Mapping as Dict
from dataclasses import dataclass, replace

from pipeline.errors import InputError
from pipeline.records.binding import OWN_COLUMNS, Binding, cells_of, require, unknown_column
from pipeline.records.declaration import Field, Kind, Record
from pipeline.records.mapping import ISO_CLOCK, ColumnMapping, RecordMapping
from pipeline.records.plan import CellSql, literal
from pipeline.records.units import FACTORS

CLOCK_RULE = "must come from clock times written as the mapping says"
UNPLACED_RULE = "must follow a placement whose clock time is in the episode's file"
# A workbook's clock times arrive like this, whatever the workbook shows.
CLOCKS = (ISO_CLOCK, ISO_CLOCK + ":%S", "%Y-%m-%dT%H:%M", "%Y-%m-%dT%H:%M:%S", "%Y-%m-%d")
PLACED = "placed_clock"  # clock time of placement, looked up in the episode's own file
LOOKED_UP = "episode."

AS_IT_IS = ColumnMapping()


@dataclass(frozen=True)
class _File:
    """The columns of one file, as SQL."""

    mapping: RecordMapping
    cells: Dict[str, CellSql]

    def text(self, name: str) -> str:
        """Return SQL for a cell's text; null where it is a spelling of nothing."""
        cell = self.cells[name]
        text = cell.text if cell.type_ == "VARCHAR" else f"{cell.text}::varchar"
        if not self.mapping.missing:
            return text
        nothing = f"trim({text}) in ({_listed(self.mapping.missing)})"
        return f"(case when {nothing} then null else {text} end)"

    def clock(self, name: str) -> str:
        """Return SQL for a clock time; null where it cannot be read."""
        if name.startswith(LOOKED_UP):
            return PLACED
        cell = self.cells[name]
        if cell.type_.startswith(("TIMESTAMP", "DATE")):
            return f"{cell.text}::timestamp"
        written = self.mapping.clock
        known = dict.fromkeys((written, written.split(" ", maxsplit=1)[0], *CLOCKS))
        formats = ", ".join(literal(form) for form in known)
        return f"try_strptime(trim({self.text(name)}), [{formats}])"

    def unread(self, name: str) -> str:
        """Return SQL that is true where a clock time is there but cannot be read."""
        if name.startswith(LOOKED_UP):
            return "false"
        return f"({self.clock(name)} is null and trim({self.text(name)}) <> '')"


def bind_mapped(
    record: Record,
    columns: Dict[str, str],
    file_name: str,
    mapping: RecordMapping,
    *,
    drop_unknown: bool = False,
) -> Binding:
    """Bind a file in a site's own layout.

    Parameters
    ----------
    columns : mapping of str to str
        The file's header in order, each with its database type.
    drop_unknown : bool
        Leave out a column that the mapping does not name, in place of an error.

    Raises
    ------
    InputError
        A column is neither mapped nor ignored, or one that the mapping reads is not there.
    """
    cells = cells_of(columns)
    file = _File(mapping, cells)
    used = {
        name: spec for name, spec in mapping.columns.items() if _is_there(record, name, spec, file)
    }
    bound = {name: _bound(record.field(name), spec, file) for name, spec in used.items()}
    for name in record.columns:
        if name not in bound and name in cells and name not in mapping.ignore:
            bound[name] = _plain(record.field(name), name, file)
    _name_the_unknown(record, file, bound, file_name, drop_unknown=drop_unknown)
    require(record, bound, file_name)
    _order_within(bound, used, file)
    own = {name: f"{cells[name].text}::varchar" for name in OWN_COLUMNS if name in cells}
    return Binding(bound, _kept(used, bound, file), own, not _dropped(file).isdisjoint(cells))


def _is_there(record: Record, name: str, spec: ColumnMapping, file: _File) -> bool:
    """Whether the file has what `spec` reads; an exported row has the value itself."""
    missing = [c for c in spec.sources if c not in file.cells and not c.startswith(LOOKED_UP)]
    if not missing:
        return True
    if name in file.cells:
        return False
    raise InputError(
        f"{file.mapping.file}: column {missing[0]} is missing; the mapping reads"
        f" {record.name}'s {name} from it."
    )


def _name_the_unknown(
    record: Record, file: _File, bound: Dict[str, CellSql], file_name: str, *, drop_unknown: bool
) -> None:
    """Stop at a column that nobody has said anything about."""
    named = {c for spec in file.mapping.columns.values() for c in spec.sources}
    named |= {*file.mapping.ignore, *bound, *OWN_COLUMNS}
    for name in file.cells:
        if name not in named and not drop_unknown:
            raise unknown_column(record, name, file_name, file.cells, {*named, *record.columns})


def _kept(used: Dict[str, ColumnMapping], bound: Dict[str, CellSql], file: _File) -> dict[str, str]:
    """Return what a rejected row keeps: its own cells, but hours in place of clock times."""
    dropped = {*OWN_COLUMNS} | _dropped(file)
    named = {c for spec in used.values() for c in spec.sources} | set(bound)
    kept = {
        name: f"{cell.text}::varchar"
        for name, cell in file.cells.items()
        if name not in dropped and name in named
    }
    made = {name: bound[name].text for name, spec in used.items() if spec.clocks}
    return kept | made


def _dropped(file: _File) -> set[str]:
    """Return the columns of which a rejected row keeps nothing."""
    clocks = {c for spec in file.mapping.columns.values() for c in spec.clocks}
    return {*file.mapping.ignore} | clocks


def _bound(field: Field, spec: ColumnMapping, file: _File) -> CellSql:
    if spec.constant is not None:
        return CellSql(literal(spec.constant))
    if spec.clocks:
        return _from_clocks(spec, file)
    assert spec.column is not None
    return _plain(field, spec.column, file, spec)


def _plain(
    field: Field, column: str, file: _File, spec: ColumnMapping = AS_IT_IS
) -> CellSql:  # fmt: skip
    """Return the cell of a column that holds the value itself, spelt the site's way."""
    cell = file.cells[column]
    if field.kind in {Kind.INTEGER, Kind.NUMBER}:
        return _number(field, cell, file.text(column), spec, file.mapping.decimal)
    if field.kind is Kind.YES_NO and cell.type_ != "BOOLEAN":
        yes, no = (*spec.yes, *file.mapping.yes), (*spec.no, *file.mapping.no)
        return CellSql(_spelt(file.text(column), {"yes": yes, "no": no}))
    if spec.values:
        return CellSql(_spelt(file.text(column), spec.values))
    return replace(cell, text=file.text(column)) if cell.type_ == "VARCHAR" else cell


def _number(field: Field, cell: CellSql, text: str, spec: ColumnMapping, decimal: str) -> CellSql:
    factor = FACTORS[field.unit, spec.unit] if spec.unit else 1.0
    if decimal != ".":
        text = f"replace({text}, {literal(decimal)}, '.')"
    if factor == 1.0:
        return CellSql(text) if cell.type_ == "VARCHAR" else cell
    made = f"try_cast({text} as double) * {factor!r}"
    made = f"floor({made} + 1e-9)" if field.kind is Kind.INTEGER else f"round({made}, 3)"
    return CellSql(f"coalesce(({made})::varchar, {text})")


def _spelt(text: str, values: Dict[str, tuple[str, ...]]) -> str:
    """Return SQL that puts the layout's code in the place of a site's spelling."""
    cases = " ".join(
        f"when lower(trim({text})) in ({_listed(tuple(s.lower() for s in spelt))})"
        f" then {literal(code)}"
        for code, spelt in values.items()
        if spelt
    )
    return f"(case {cases} else {text} end)" if cases else text


def _from_clocks(spec: ColumnMapping, file: _File) -> CellSql:
    """Return the cell of a value made from clock times."""
    assert spec.column is not None
    at = file.clock(spec.column)
    faults = [(CLOCK_RULE, " or ".join(file.unread(name) for name in spec.clocks))]
    start = spec.since or spec.years_since
    if start:
        rule = UNPLACED_RULE if start.startswith(LOOKED_UP) else CLOCK_RULE
        faults.append((rule, f"{at} is not null and {file.clock(start)} is null"))
    if spec.since:
        text = f"round(epoch({at} - {file.clock(spec.since)}) / 3600, 2)"
    elif spec.years_since:
        text = f"datesub('year', {file.clock(spec.years_since)}, {at})"
    elif spec.take == "hour":
        text = f"hour({at})"
    else:
        text = f"strftime({at}, '%Y-%m')"
    return CellSql(f"({text})::varchar", faults=tuple(faults))


def _order_within(bound: dict[str, CellSql], used: Dict[str, ColumnMapping], file: _File) -> None:
    """Count placements within month and site, where the mapping asks for it."""
    spec = used.get("month_order")
    if spec is None or spec.take != "order" or spec.column is None:
        return
    at = file.clock(spec.column)
    text = (
        f"case when {at} is not null then row_number() over (partition by {bound['site'].text},"
        f" strftime({at}, '%Y-%m') order by {at}, row) end::varchar"
    )
    bound["month_order"] = replace(bound["month_order"], text=f"({text})")


def _listed(texts: tuple[str, ...]) -> str:
    return ", ".join(literal(text) for text in texts)


def looked_up(mapping: RecordMapping) -> str | None:
    """Return the column of the episode's file that holds the clock time of placement.

    None where no column is reckoned from a time in another file.
    """
    for spec in mapping.columns.values():
        for name in spec.clocks:
            if name.startswith(LOOKED_UP) and mapping.record != "episode":
                return name.removeprefix(LOOKED_UP)
    return None


def placement_of(mapping: RecordMapping, columns: Dict[str, str], column: str) -> tuple[str, str]:
    """Return SQL for an episode's key and for the clock time in `column`.

    Raises
    ------
    InputError
        The episode's file has no such column.
    """
    cells = cells_of(columns)
    file = _File(mapping, cells)
    spec = mapping.columns.get("episode_id", ColumnMapping(column="episode_id"))
    for name in (column, spec.column or ""):
        if name not in cells:
            raise InputError(f"{mapping.file} has no column {name}, which another file needs.")
    return f"trim({file.text(spec.column or '')})", file.clock(column)
