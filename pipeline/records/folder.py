"""Which files of a folder are records."""

from pathlib import Path

from pipeline.errors import InputError
from pipeline.records.layout import RECORDS
from pipeline.records.mapping import Mapping, RecordMapping
from pipeline.records.sources import Form, SourceFile, look_at

FORMS = tuple(form.value for form in Form)
MAPPING_FILE = "mapping.toml"


def find_sources(place: Path, mapping: Mapping | None = None) -> list[SourceFile]:
    """Return the record files of a folder, or of one file.

    Files that the mapping names are read as it says, the others in the canonical layout.

    Raises
    ------
    InputError
        There are none, a record is there twice, or a data file is no record.
    """
    if place.is_file():
        _is_not_open(place)
        return [look_at(_record_of(place, mapping), place, mapping)]
    if not place.is_dir():
        raise InputError(f"There is no folder or file {place}.")
    files = sorted(path for path in place.iterdir() if path.suffix.lower() in FORMS)
    for path in files:
        _is_not_open(path)
    paths = [path for path in files if not path.name.startswith("._")]  # a Mac's notes on files
    if not paths:
        raise InputError(
            f"{place} holds no record files.",
            try_next="a folder with episode.csv or episode.parquet",
        )
    found: dict[str, Path] = {}
    for path in paths:
        record = _record_of(path, mapping)
        if record in found:
            raise InputError(f"{place} holds {found[record].name} and {path.name}: keep one.")
        found[record] = path
    _none_is_missing(place, mapping, found)
    return [look_at(record, path, mapping) for record, path in found.items()]


def _is_not_open(path: Path) -> None:
    """Refuse the note that a spreadsheet program leaves beside a workbook that it has open."""
    if path.name.startswith("~$"):
        raise InputError(
            f"{path.name} says that {path.name[2:]} is open in a spreadsheet program.",
            try_next=f"close it there; where nobody has it open, delete {path.name}",
        )


def _record_of(path: Path, mapping: Mapping | None) -> str:
    for own in mapping.records.values() if mapping else ():
        if _is_of(path, own):
            return own.record
    record = path.name.split(".")[0]
    if record not in RECORDS:
        raise InputError(
            f"{path.name} is none of the records {', '.join(RECORDS)}.",
            try_next="rename the file, or describe it in the site's mapping",
        )
    return record


def _is_of(path: Path, own: RecordMapping) -> bool:
    """Whether `path` is the file that a mapping names, or rows of it exported for correction."""
    return path.match(own.file) or path.name.split(".")[0] == own.record


def _none_is_missing(place: Path, mapping: Mapping | None, found: dict[str, Path]) -> None:
    """Refuse a folder without a file that the mapping names, but for exported corrections."""
    for own in mapping.records.values() if mapping else ():
        if own.record not in found:
            raise InputError(f"{place} holds no {own.file}, which the mapping reads.")
