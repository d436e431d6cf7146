"""Months and quarters as text: `2025-04` and `2025-Q2`."""

import datetime as dt
import re

from pipeline.errors import UsageError

EARLIEST, LATEST = "0000-01", "9999-12"
_MONTH = re.compile(r"(\d{4})-(0[1-9]|1[0-2])")
_QUARTER = re.compile(r"(\d{4})-Q([1-4])")


def quarter_of(month: str) -> str:
    """Return the quarter of a month; `UsageError` where it is no month."""
    year, number = _split(month)
    return f"{year}-Q{(number + 2) // 3}"


def months_of(quarter: str) -> tuple[str, str]:
    """Return the first and the last month of a quarter; `UsageError` where it is none."""
    found = _QUARTER.fullmatch(quarter)
    if found is None:
        raise UsageError(f"{quarter} is not a quarter.", try_next="a quarter such as 2025-Q4")
    last = int(found[2]) * 3
    return f"{found[1]}-{last - 2:02}", f"{found[1]}-{last:02}"


def months_between(first: str, last: str) -> list[str]:
    """Return every month from the first to the last, both included."""
    (year, number), (last_year, last_number) = _split(first), _split(last)
    count = (last_year - year) * 12 + last_number - number + 1
    return [f"{year + (number - 1 + i) // 12}-{(number - 1 + i) % 12 + 1:02}" for i in range(count)]


def quarters_between(first: str, last: str) -> list[str]:
    """Return every quarter from that of the first month to that of the last."""
    return list(dict.fromkeys(quarter_of(month) for month in months_between(first, last)))


def quarter_before(quarter: str, back: int = 1) -> str:
    """Return the quarter that is `back` quarters earlier."""
    year, _, number = quarter.partition("-Q")
    index = 4 * int(year) + int(number) - 1 - back
    return f"{index // 4}-Q{index % 4 + 1}"


def checked_months(first: str | None, last: str | None) -> tuple[str, str] | None:
    """Return the first and last month asked for; None where neither was.

    Raises
    ------
    UsageError
        One is no month, or the last comes before the first.
    """
    if first is None and last is None:
        return None
    first, last = first or EARLIEST, last or LATEST
    _split(first)
    _split(last)
    if last < first:
        raise UsageError(f"{last} comes before {first}.", try_next="--from, then --to")
    return first, last


def last_final_month(as_of: dt.date, follow_up_h: float) -> str:
    """Return the last month that is not provisional.

    A month is provisional until every episode in it has had the measure's
    follow-up time, that is until `follow_up_h` hours after its end. The records
    are taken to reach to the start of the day on which they were extracted.
    """
    moment = dt.datetime.combine(as_of, dt.time()) - dt.timedelta(hours=follow_up_h)
    before = dt.datetime(moment.year, moment.month, 1) - dt.timedelta(days=1)
    return f"{before.year}-{before.month:02}"


def _split(month: str) -> tuple[int, int]:
    found = _MONTH.fullmatch(month)
    if found is None:
        raise UsageError(f"{month} is not a month.", try_next="a month such as 2025-04")
    return int(found[1]), int(found[2])
