"""From arrays to frames in the record layout.

Arrays hold codes as positions in their vocabulary, keys as serial numbers, yes/no as 1 and
0; -1 (for hours and numbers, NaN) is null.
"""

from collections.abc import Mapping, Sequence

import numpy as np
import numpy.typing as npt
import polars as pl
import pyarrow as pa

from pipeline.records.declaration import Field, Kind, Record

Columns = dict[str, npt.NDArray[np.generic]]

# Keys are spelled without vowels and digits, so that none can read as a word or a number.
_PREFIX = {
    "episode_id": "e", "patient_key": "p", "operation_key": "o", "contact_id": "c",
    "visit_id": "v", "event_id": "s",
}  # fmt: skip
_LETTERS = np.frombuffer(b"bcdfghjklmnpqrstvwxz", dtype=np.uint8)
_LENGTH = 7
_KEYS = len(_LETTERS) ** _LENGTH
_STRIDE = 790_423_117  # odd and no multiple of 5: every serial number has a key of its own


def frame(
    record: Record, columns: Columns, *, listed: Mapping[str, Sequence[str]], key_offset: int
) -> pl.DataFrame:
    """Return the columns as a frame in the layout's order and types.

    Parameters
    ----------
    record : Record
        The declaration; a column of it that is not in `columns` is left out.
    columns : dict of str to array
        The values, all of one length.
    listed : mapping of str to sequence of str
        Vocabularies that the layout does not close: for each such column, its values.
    key_offset : int
        Where the spelling of keys begins; another one gives other keys.
    """
    return pl.DataFrame(
        [
            _keys(field.name, columns[field.name].astype(np.int64), key_offset)
            if field.kind is Kind.KEY
            else _series(field, columns[field.name], listed.get(field.name))
            for field in record.fields
            if field.name in columns
        ]
    )


def spell_key(name: str, serial: int, offset: int) -> str:
    """Spell the key of one serial number; negative ones are never used by `frame`."""
    number, letters = (serial * _STRIDE + offset) % _KEYS, ""
    for _ in range(_LENGTH):
        number, letter = divmod(number, len(_LETTERS))
        letters = chr(_LETTERS[letter]) + letters
    return _PREFIX[name] + letters


def _keys(name: str, serial: npt.NDArray[np.int64], offset: int) -> pl.Series:
    """Spell serial numbers as opaque keys, all different."""
    prefix = _PREFIX[name]
    scrambled = (serial * _STRIDE + offset) % _KEYS
    text = np.empty((serial.size, len(prefix) + _LENGTH), dtype=np.uint8)
    text[:, : len(prefix)] = np.frombuffer(prefix.encode(), dtype=np.uint8)
    for place in range(text.shape[1] - 1, len(prefix) - 1, -1):
        scrambled, letter = np.divmod(scrambled, len(_LETTERS))
        text[:, place] = _LETTERS[letter]
    ends = np.arange(serial.size + 1, dtype=np.int64) * text.shape[1]
    array = pa.LargeStringArray.from_buffers(serial.size, pa.py_buffer(ends), pa.py_buffer(text))
    return _with_nulls(pl.Series(name, array), serial < 0)


def _series(
    field: Field, values: npt.NDArray[np.generic], listed: Sequence[str] | None
) -> pl.Series:
    if field.kind is Kind.NUMBER:
        return pl.Series(field.name, values.astype(np.float64), nan_to_null=True)
    missing = values.astype(np.int64) < 0
    if field.kind is Kind.INTEGER:
        return _with_nulls(pl.Series(field.name, values.astype(np.int32)), missing)
    if field.kind is Kind.YES_NO:
        return _with_nulls(pl.Series(field.name, values.astype(np.bool_)), missing)
    codes = listed or [code.value for code in field.codes or ()]
    spelled = pl.Series(field.name, [*codes, None], dtype=pl.Enum(codes))
    return spelled.gather(np.where(missing, len(codes), values).astype(np.uint32))


def _with_nulls(series: pl.Series, missing: npt.NDArray[np.bool_]) -> pl.Series:
    return series if not missing.any() else series.set(pl.Series(missing), None)
