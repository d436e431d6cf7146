"""`dwell extract`: a de-identified data set for one study, with all that goes with it."""

import hashlib
import io
import secrets
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from pipeline.cli.complete import extract_columns
from pipeline.cli.options import (
    db_option,
    from_option,
    quiet_option,
    settings_option,
    site_option,
    to_option,
)
from pipeline.cli.printing import to_json
from pipeline.errors import InputError, UsageError
from pipeline.outputs import OWNER_ONLY, folder_beside

if TYPE_CHECKING:
    import polars as pl

    from pipeline.disclosure.anonymity import Anonymity

KEY_BYTES = 32
CAUTION = (
    "One row a catheter, without names, dates or the store's keys. Months and quarters make "
    "it a limited data set (45 CFR 164.514(e)), not a Safe Harbor release: whether it may be "
    "passed on, and under which agreement, is for the local privacy officer to decide. "
    "Nothing here certifies that a child cannot be recognised."
)


@dataclass(frozen=True)
class Wanted:
    """What was asked for."""

    study: str
    columns: tuple[str, ...]
    sites: tuple[str, ...]
    first: str | None
    last: str | None
    format: str


@click.command(
    epilog="Example: dwell extract glue-study --out glue-study --column site --column skin_glue"
    " --column dwell_h --column is_removed"
)
@click.argument("study", required=False)
@click.option("--out", type=click.Path(file_okay=False, path_type=Path), help="The folder to make.")
@click.option(
    "--column",
    "columns",
    multiple=True,
    metavar="COLUMN",
    shell_complete=extract_columns,
    help="Take this column; may be repeated. A usual set unless named.",
)
@click.option("--list", "list_", is_flag=True, help="List the columns to choose from.")
@site_option
@from_option
@to_option
@click.option(
    "--format", "format_", type=click.Choice(["parquet", "csv"]), default="parquet",
    show_default=True, help="Of the data file.",
)  # fmt: skip
@click.option(
    "--key-file",
    "key_file",
    type=click.Path(dir_okay=False, path_type=Path),
    help="The study's secret, made if it is not there; keep it apart from the extract. "
    "Without one, a second extract cannot be matched to the first.",
)
@click.option(
    "--drop-small", is_flag=True, help="Leave out records that too few children are like."
)
@db_option
@settings_option
@quiet_option
def extract(
    *,
    study: str | None,
    out: Path | None,
    columns: tuple[str, ...],
    list_: bool,
    sites: tuple[str, ...],
    first: str | None,
    last: str | None,
    format_: str,
    key_file: Path | None,
    drop_small: bool,
    db: Path,
    settings: Path | None,
    quiet: bool,
) -> None:
    """Write a de-identified data set for a study.

    STUDY names it. The folder gets the data, its dictionary, and where it comes
    from with the check of how many children each record is like.
    """
    from pipeline.measures.extract import USUAL
    from pipeline.settings import load_settings

    if list_:
        _print_columns()
        return
    if study is None or out is None:
        raise UsageError("A study and --out FOLDER are needed.", try_next="dwell extract --help")
    _check_name(study)
    wanted = Wanted(study, columns or USUAL, sites, first, last, format_)
    k = load_settings(settings).k_anonymity
    frame, source = _read(wanted, _key(key_file, out), db)
    frame, found = _checked(frame, k, drop_small=drop_small)
    _write(frame, out, wanted, source | {"anonymity": asdict(found), "dropped_small": drop_small})
    if not quiet:
        click.echo(_summary(found, frame.height, out), err=True)


def _print_columns() -> None:
    from pipeline.measures.extract import columns_to_choose_from

    for column in columns_to_choose_from().values():
        click.echo(f"{column.name:30}{column.description}")


def _check_name(study: str) -> None:
    import re

    if not re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9_-]{0,63}", study):
        raise UsageError("A study's name is letters, digits, - and _.", try_next="glue-study")


def _key(key_file: Path | None, out: Path) -> bytes:
    """Return the study's secret; one that is not kept is different every time."""
    if key_file is None:
        return secrets.token_bytes(KEY_BYTES)
    if key_file.resolve().is_relative_to(out.resolve()):
        raise UsageError("The key must lie apart from the extract: whoever has both can match.")
    try:
        if not key_file.exists():
            key_file.touch(mode=0o600)
            key_file.write_text(secrets.token_hex(KEY_BYTES) + "\n", encoding="ascii")
        key = bytes.fromhex(key_file.read_text(encoding="ascii").strip())
    except (OSError, ValueError) as error:
        raise InputError(f"{key_file} cannot be read as a key, or cannot be made.") from error
    if len(key) != KEY_BYTES:
        raise InputError(f"{key_file} is not a key of {KEY_BYTES} bytes.")
    return key


def _read(wanted: Wanted, key: bytes, db: Path) -> "tuple[pl.DataFrame, dict[str, Any]]":
    """Return the re-keyed rows, and where they come from."""
    from pipeline import __version__
    from pipeline.measures.dimensions import check_sites
    from pipeline.measures.extract import extract as rows_of
    from pipeline.measures.periods import checked_months
    from pipeline.store import open_store

    months = checked_months(wanted.first, wanted.last)
    where = {"site": list(wanted.sites)} if wanted.sites else None
    with open_store(db) as store:
        check_sites(store, wanted.sites)
        frame = rows_of(store, wanted.columns, key, where=where, months=months)
        source = {
            "study": wanted.study,
            "program": f"dwell {__version__}",
            "records_as_of": store.as_of().isoformat(),
            "data_fingerprint": store.fingerprint(),
            "sites": list(wanted.sites) or "all",
            "first_month": wanted.first,
            "last_month": wanted.last,
            "columns": frame.columns,
            "caution": CAUTION,
        }
    return frame, source


def _checked(
    frame: "pl.DataFrame", k: int, *, drop_small: bool
) -> "tuple[pl.DataFrame, Anonymity]":
    from pipeline.disclosure.anonymity import anonymity, children_alike
    from pipeline.errors import NoDataError

    if drop_small:
        frame = frame.filter(children_alike(frame, "study_child") >= k)
        if frame.is_empty():
            raise NoDataError(
                f"Every record is like those of fewer than {k} children.",
                try_next="fewer of the columns age_band, site, surgeon_type, placed_quarter",
            )
    return frame, anonymity(frame, "study_child", k)


def _write(frame: "pl.DataFrame", out: Path, wanted: Wanted, source: dict[str, Any]) -> None:
    data = _bytes_of(frame, wanted.format)
    name = f"{wanted.study}.{wanted.format}"
    digest = hashlib.sha256(data).hexdigest()
    source |= {"file": name, "rows": frame.height, "sha256": digest}
    with folder_beside(out) as part:
        (part / name).write_bytes(data)
        (part / "provenance.json").write_text(to_json(source) + "\n", encoding="utf-8")
        text = _dictionary(wanted, frame.columns)
        (part / "dictionary.md").write_text(text, encoding="utf-8")
        for path in part.iterdir():
            path.chmod(OWNER_ONLY)


def _bytes_of(frame: "pl.DataFrame", format_: str) -> bytes:
    if format_ == "csv":
        return frame.write_csv().encode()
    packed = io.BytesIO()
    frame.write_parquet(packed)
    return packed.getvalue()


def _dictionary(wanted: Wanted, columns: list[str]) -> str:
    from pipeline.measures.extract import STUDY_KEYS, columns_to_choose_from

    known = columns_to_choose_from() | {column.name: column for column in STUDY_KEYS}
    lines = [f"# {wanted.study}", "", "One row: one catheter, from placement to removal.", ""]
    lines += ["| column | type | meaning |", "|---|---|---|"]
    lines += [f"| {name} | {known[name].type} | {known[name].description} |" for name in columns]
    for name in columns:
        if known[name].codes:
            lines += ["", f"Codes of {name}:", ""]
            lines += [f"- {code}: {meaning}" for code, meaning in known[name].codes]
    return "\n".join([*lines, "", CAUTION, ""])


def _summary(found: "Anonymity", rows: int, out: Path) -> str:
    columns = ", ".join(found.quasi_identifiers) or "none"
    if found.holds:
        check = f"every record is like those of at least {found.k} children"
    else:
        check = (
            f"{found.small_rows:,} of {rows:,} records are like those of fewer than {found.k}"
            " children: choose fewer of these columns, or --drop-small"
        )
    return f"{rows:,} rows in {out}. By {columns}: {check}.\n{CAUTION}"
