"""Find the files of a load and learn how each is written, without judging a row."""

import codecs
import csv
import hashlib
from collections.abc import Iterable
from dataclasses import dataclass, replace
from enum import StrEnum
from pathlib import Path

from pipeline.errors import InputError
from pipeline.records.mapping import Mapping, RecordMapping

DELIMITERS = ",;\t|"
CHUNK = 1 << 20


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
    bom: bool = False
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
                    result.bom = chunk.startswith(codecs.BOM_UTF8)
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


def read_header(path: Path, encoding: str, delimiter: str | None) -> tuple[tuple[str, ...], str]:
    """Return a CSV file's header and its delimiter, guessed where none is given.

    Raises
    ------
    InputError
        The file is empty, or its header has empty or repeated names.
    """
    with path.open(encoding=encoding, newline="") as file:
        first = file.readline()
    if not first.strip():
        raise InputError(f"{path.name} is empty: it has no header.")
    if delimiter is None:
        delimiter = max(DELIMITERS, key=first.count)
    try:
        with path.open(encoding=encoding, newline="") as file:
            names = next(csv.reader(file, delimiter=delimiter))
    except csv.Error:
        raise InputError(f"{path.name}: the header cannot be read.") from None
    header = tuple(name.strip() for name in names)
    check_header(header, path)
    return header, delimiter


def check_header(header: Iterable[str], path: Path) -> None:
    """Refuse empty and repeated column names."""
    seen: set[str] = set()
    for number, name in enumerate(header, 1):
        if not name:
            raise InputError(f"{path.name}: column {number} has no name.")
        if name in seen:
            raise InputError(f"{path.name}: column {name} appears more than once.")
        seen.add(name)


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
    encoding = (own.encoding if own else None) or ("utf-8-sig" if seen.utf8 else "latin-1")
    try:
        header, delimiter = read_header(source.path, encoding, own.delimiter if own else None)
    except (UnicodeDecodeError, LookupError):
        raise InputError(f"{source.path.name} is not written in {encoding}.") from None
    # The database reads these two encodings; every other is read row by row.
    plain = codecs.lookup(encoding).name in {"utf-8", "utf-8-sig", "iso8859-1"}
    tidy = plain and not seen.blank_lines and not seen.nul
    return replace(source, columns=header, delimiter=delimiter, encoding=encoding, tidy=tidy)
