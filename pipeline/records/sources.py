"""Find the files of a load and learn how each is written, without judging a row."""

import codecs
import csv
import hashlib
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from itertools import chain
from pathlib import Path

from pipeline.errors import InputError
from pipeline.records.mapping import Mapping, RecordMapping

DELIMITERS = ",;\t|"
CHUNK = 1 << 20
MAX_CELL = 1 << 20  # characters; no cell of a record is longer
MOST_COLUMNS = 1000
_MARKS = {codecs.BOM_UTF16_LE: "utf-16", codecs.BOM_UTF16_BE: "utf-16"}


class Form(StrEnum):
    """How a file is written; the value is the end of its name."""

    CSV = ".csv"
    PARQUET = ".parquet"
    XLSX = ".xlsx"


@dataclass(frozen=True)
class SourceFile:
    """One file, what it holds and how it is written.

    Attributes
    ----------
    record : str
        Name of the record, as in the layout.
    columns : tuple of str
        Header of a CSV or XLSX file; empty for Parquet, which carries its own.
    header_row : int
        Row of the header: blank lines and a spreadsheet's ``sep=;`` may stand before it.
    tidy : bool
        A CSV file with no blank lines and no stray bytes: row numbers can be counted.
    mapping : RecordMapping, optional
        How the file's own layout becomes the canonical one.
    mapping_digest : str, optional
        Identifies the mapping's text.
    """

    record: str
    path: Path
    form: Form
    sha256: str
    size: int
    columns: tuple[str, ...] = ()
    header_row: int = 1
    delimiter: str = ","
    encoding: str = "utf-8"
    tidy: bool = True
    sheet: str | None = None
    mapping: RecordMapping | None = None
    mapping_digest: str | None = None


@dataclass
class _Survey:
    """What one pass over a file's bytes tells."""

    digest: str = ""
    size: int = 0
    utf8: bool = True
    start: bytes = b""
    blank_lines: bool = False
    nul: bool = False


def survey(path: Path) -> _Survey:
    """Hash a file and note its encoding and blank lines, in one pass."""
    result, digest = _Survey(), hashlib.sha256()
    decode = codecs.getincrementaldecoder("utf-8")()
    tail = b""
    try:
        with path.open("rb") as file:
            while chunk := file.read(CHUNK):
                if not result.size:
                    result.start = chunk[:1000]
                result.size += len(chunk)
                digest.update(chunk)
                if path.suffix.lower() == Form.CSV:
                    _note(result, decode, tail, chunk)
                tail = chunk[-2:]
    except OSError:
        raise InputError(f"{path.name} cannot be read.") from None
    result.digest = digest.hexdigest()
    result.utf8 = result.utf8 and not decode.getstate()[0]  # no character is cut off at the end
    return result


def _note(result: _Survey, decode: codecs.IncrementalDecoder, tail: bytes, chunk: bytes) -> None:
    # Plain ASCII between whole characters needs no decoding, and is most of every file.
    if result.utf8 and not (chunk.isascii() and not decode.getstate()[0]):
        try:
            decode.decode(chunk)
        except UnicodeDecodeError:
            result.utf8 = False
    result.nul = result.nul or b"\0" in chunk
    result.blank_lines = result.blank_lines or (
        _has_blank_line(tail + chunk[:2]) or _has_blank_line(chunk)
    )


def _has_blank_line(data: bytes) -> bool:
    # Plain searches first: the pattern is slow on hundreds of megabytes.
    return b"\n\n" in data or (b"\r" in data and (b"\n\r\n" in data or b"\r\r" in data))


@dataclass(frozen=True)
class _Header:
    """Where a CSV file's header is, and what it says."""

    columns: tuple[str, ...]
    row: int
    delimiter: str


def _read_header(path: Path, encoding: str, delimiter: str | None) -> _Header:
    """Read the first line that holds anything; the delimiter is guessed where none is given.

    Raises
    ------
    InputError
        The file is empty, or its header has empty or repeated names.
    """
    row = 1
    with path.open(encoding=encoding, newline="") as file:
        while (line := file.readline(MAX_CELL)) and (not line.strip() or _tells(line)):
            delimiter = delimiter or _tells(line)
            row += 1
        if not line:
            raise InputError(f"{path.name} is empty: it has no header.")
        if delimiter is None:
            delimiter = max(DELIMITERS, key=line.count)
        csv.field_size_limit(MAX_CELL)
        try:
            names = next(csv.reader(chain([line], file), delimiter=delimiter))
        except csv.Error:
            raise InputError(f"{path.name}: the header cannot be read.") from None
    header = tuple(name.strip() for name in names)
    check_header(header, path)
    return _Header(header, row, delimiter)


def _tells(line: str) -> str | None:
    """Return the delimiter that a spreadsheet program names in a line of its own."""
    found = re.fullmatch(r"sep=(.)\s*", line, flags=re.IGNORECASE)
    return found[1] if found else None


def check_header(header: Sequence[str], path: Path) -> None:
    """Refuse empty and repeated column names, which may be cells and are not repeated here."""
    if len(header) > MOST_COLUMNS:
        raise InputError(f"{path.name} has {len(header):,} columns; at most {MOST_COLUMNS:,}.")
    seen: dict[str, int] = {}
    for number, name in enumerate(header, 1):
        if not name:
            raise InputError(f"{path.name}: column {number} has no name.")
        if name in seen:
            raise InputError(f"{path.name}: columns {seen[name]} and {number} have one name.")
        seen[name] = number


def look_at(record: str, path: Path, mapping: Mapping | None = None) -> SourceFile:
    """Describe the file at `path`, which holds `record`.

    Raises
    ------
    InputError
        It is missing or empty, its kind is not known or its header is not usable.
    """
    form = _form_of(path)
    seen = survey(path)
    if not seen.size:
        raise InputError(f"{path.name} is empty.")
    source = SourceFile(record, path, form, seen.digest, seen.size)
    own = mapping.records.get(record) if mapping else None
    if mapping is not None and own is not None:
        source = replace(source, mapping=own, mapping_digest=mapping.digest, sheet=own.sheet)
    return source if form is not Form.CSV else _with_header(source, seen, own)


def _form_of(path: Path) -> Form:
    if not path.is_file():
        raise InputError(f"There is no file {path}.")
    try:
        return Form(path.suffix.lower())
    except ValueError:
        raise InputError(
            f"{path.name}: files are .csv, .parquet or .xlsx, not {path.suffix or 'nameless'}."
        ) from None


def _with_header(source: SourceFile, seen: _Survey, own: RecordMapping | None) -> SourceFile:
    encoding = (own.encoding if own else None) or _encoding_of(source, seen)
    try:
        header = _read_header(source.path, encoding, own.delimiter if own else None)
    except UnicodeError:
        raise InputError(f"{source.path.name} is not written in {encoding}.") from None
    # The database reads these two encodings; every other is read row by row.
    plain = codecs.lookup(encoding).name in {"utf-8", "utf-8-sig", "iso8859-1"}
    tidy = plain and header.row == 1 and not seen.blank_lines and not seen.nul
    return replace(
        source,
        columns=header.columns,
        header_row=header.row,
        delimiter=header.delimiter,
        encoding=encoding,
        tidy=tidy,
    )


def _encoding_of(source: SourceFile, seen: _Survey) -> str:
    """Guess how a file is written, which nobody has said."""
    for mark, encoding in _MARKS.items():
        if seen.start.startswith(mark):
            return encoding
    if seen.start.count(b"\0") > len(seen.start) / 4:
        raise InputError(
            f"{source.path.name} is no plain text, or is UTF-16 without its mark.",
            try_next="save it as CSV in UTF-8, or name its encoding in the site's mapping",
        )
    return "utf-8-sig" if seen.utf8 else "latin-1"
