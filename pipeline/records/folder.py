"""Which files of a folder are records."""

from pathlib import Path

from pipeline.errors import InputError
from pipeline.records.layout import RECORDS
from pipeline.records.sources import Form, Source, look_at

FORMS = tuple(form.value for form in Form)


def find_sources(place: Path) -> list[Source]:
    """Return the record files of a folder, or of one file, in the canonical layout.

    Raises
    ------
    InputError
        There are none, a record is there twice, or a data file is no record.
    """
    if place.is_file():
        return [look_at(_record_of(place), place)]
    if not place.is_dir():
        raise InputError(f"There is no folder or file {place}.")
    paths = sorted(path for path in place.iterdir() if path.suffix.lower() in FORMS)
    if not paths:
        raise InputError(
            f"{place} holds no record files.",
            try_next="a folder with episode.csv or episode.parquet",
        )
    found: dict[str, Path] = {}
    for path in paths:
        record = _record_of(path)
        if record in found:
            raise InputError(f"{place} holds {found[record].name} and {path.name}: keep one.")
        found[record] = path
    return [look_at(record, path) for record, path in found.items()]


def _record_of(path: Path) -> str:
    record = path.name.split(".")[0]
    if record not in RECORDS:
        raise InputError(
            f"{path.name} is none of the records {', '.join(RECORDS)}.",
            try_next="rename the file, or describe it in the site's mapping",
        )
    return record
