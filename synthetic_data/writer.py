"""Writing a folder of records a batch at a time, as CSV or Parquet."""

from pathlib import Path
from types import TracebackType
from typing import IO, Self

import polars as pl
import pyarrow.parquet as pq

FORMATS = ("csv", "parquet")
_YES_NO = pl.Series(["no", "yes"], dtype=pl.Enum(["no", "yes"]))


class FolderWriter:
    """Appends frames to the files of one folder; a context manager.

    Parameters
    ----------
    folder : Path
        Made where it does not exist. Files of the same name are replaced.
    file_format : {"csv", "parquet"}
        CSV is written as the layout says: UTF-8, comma, empty for null, yes/no.

    Raises
    ------
    ValueError
        If the format is another.
    """

    def __init__(self, folder: Path, file_format: str) -> None:
        if file_format not in FORMATS:
            raise ValueError(f"format must be one of {', '.join(FORMATS)}, not {file_format!r}")
        folder.mkdir(parents=True, exist_ok=True)
        self._folder, self._format = folder, file_format
        self._csv: dict[str, IO[bytes]] = {}
        self._parquet: dict[str, pq.ParquetWriter] = {}

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        for file in (*self._csv.values(), *self._parquet.values()):
            file.close()

    def append(self, record: str, frame: pl.DataFrame) -> None:
        """Add the rows of a frame to the file of a record."""
        if self._format == "csv":
            self._append_csv(record, frame)
        else:
            self._append_parquet(record, frame)

    def _append_csv(self, record: str, frame: pl.DataFrame) -> None:
        is_new = record not in self._csv
        if is_new:
            self._csv[record] = (self._folder / f"{record}.csv").open("wb")
        spelled = [
            _YES_NO.gather(flags.cast(pl.UInt32)).alias(flags.name)
            for flags in frame.select(pl.col(pl.Boolean))
        ]
        frame.with_columns(spelled).write_csv(self._csv[record], include_header=is_new)

    def _append_parquet(self, record: str, frame: pl.DataFrame) -> None:
        table = frame.with_columns(pl.col(pl.Enum).cast(pl.String)).to_arrow()
        if record not in self._parquet:
            path = self._folder / f"{record}.parquet"
            self._parquet[record] = pq.ParquetWriter(path, table.schema, compression="zstd")
        self._parquet[record].write_table(table)
