"""Numbers, months and counts in words and in JSON, the same wherever they are printed."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_FULL = (
    *("January", "February", "March", "April", "May", "June", "July"),
    *("August", "September", "October", "November", "December"),
)
_SMALL = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")
UNKNOWN = "not known"


def figure(value: float, digits: int = 2) -> str:
    """Return a number with two significant figures and no exponent.

    Whole digits are never dropped: 63.7 is "64" and 1,234 stays. What is not quite a
    hundred has a decimal, and as many as keep it from being printed as one: 99.693 is
    "99.7".

    Parameters
    ----------
    value : float
        Any number; not-a-number and infinity give "not known".
    digits : int
        Significant figures.
    """
    if not math.isfinite(value):
        return UNKNOWN
    if value == 0:
        return "0"
    places = _places(value, digits)
    # 9.96 rounds to 10, which has its two figures already.
    places = _places(round(value, places), digits)
    while 99 < value < 100 and (places == 0 or round(value, places) == 100):
        places += 1
    return f"{value:,.{places}f}".replace("-", "\N{MINUS SIGN}")


def _places(value: float, digits: int) -> int:
    return max(0, digits - 1 - math.floor(math.log10(abs(value))))


def percent(share: float) -> str:
    """Return a share as a percentage of two significant figures: "3.4%", "34%", "99.7%"."""
    return f"{figure(100 * share)}%"


def chance(probability: float) -> str:
    """Return a probability as a whole percentage, its ends as "under 1%" and "over 99%"."""
    if not math.isfinite(probability):
        return UNKNOWN
    if probability >= 0.995:
        return "over 99%"
    return "under 1%" if probability < 0.01 else f"{100 * probability:.0f}%"


def p_value(probability: float) -> str:
    """Return "p = 0.034", or "p < 0.001" below what three decimals can tell."""
    if not math.isfinite(probability):
        return "no p-value"
    return "p < 0.001" if probability < 0.001 else f"p = {probability:.3f}"


def ratio(value: float) -> str:
    """Return a ratio with two decimals, so that 1.04 and 0.96 stay apart from 1."""
    return f"{value:.2f}" if abs(value) < 9.995 else figure(value)


def limits(lower: float, upper: float, write: Callable[[float], str] = figure) -> str:
    """Return limits as "0.40 to 2.1"; "from 0.40, no upper limit" where there is none.

    Parameters
    ----------
    lower, upper : float
        The limits; one or both may be not-a-number or infinite.
    write : callable
        What writes each: :func:`figure`, :func:`ratio` or :func:`percent`.
    """
    if math.isfinite(lower) and math.isfinite(upper):
        return f"{write(lower)} to {write(upper)}"
    if math.isfinite(lower):
        return f"from {write(lower)}, no upper limit"
    return f"up to {write(upper)}" if math.isfinite(upper) else "limits not known"


def with_limits(
    value: float, lower: float, upper: float, write: Callable[[float], str] = figure
) -> str:
    """Return "1.3 (0.40 to 2.1)"; the parameters of :func:`limits`."""
    if not math.isfinite(value):
        return UNKNOWN
    return f"{write(value)} ({limits(lower, upper, write)})"


def json_number(value: float | None) -> float | None:
    """Return a number for JSON, which has no word for NaN and infinity: null."""
    return float(value) if value is not None and math.isfinite(value) else None


def count(number: int, one: str, many: str | None = None) -> str:
    """Return a counted noun: "1 site", "5 sites", "1,204 catheters"."""
    return f"{number:,} {one if number == 1 else many or one + 's'}"


def counted(number: int, one: str, many: str | None = None) -> str:
    """Return as `count` does, small numbers in words: "no sites", "one site"."""
    word = _SMALL[number] if 0 <= number <= 10 else f"{number:,}"
    return f"{word} {one if number == 1 else many or one + 's'}"


def noun(unit: str, number: float) -> str:
    """Return what a unit counts, in the number asked for: "catheter-days"."""
    thing = unit.rsplit(" ", 1)[-1].removesuffix("s")
    return thing if number == 1 else f"{thing}s"


def amount(value: float, digits_below_ten: int = 0) -> str:
    """Return a numerator or denominator: whole, with thousands separated."""
    return f"{value:,.{digits_below_ten if value < 10 else 0}f}"


def month(period: str) -> str:
    """Return `2026-03` as "Mar 2026" and `2026-Q1` as "Q1 2026"; anything else as it is."""
    year, _, rest = period.partition("-")
    if rest.isdigit() and 1 <= int(rest) <= len(MONTHS):
        return f"{MONTHS[int(rest) - 1]} {year}"
    return f"{rest} {year}" if rest.startswith("Q") else period


def quarter(period: str) -> str:
    """Return `2025-Q4` as "October to December 2025"."""
    year, _, number = period.partition("-Q")
    first = 3 * (int(number) - 1)
    return f"{_FULL[first]} to {_FULL[first + 2]} {year}"


def joined(parts: Sequence[str], last: str = "and") -> str:
    """Return "a, b and c"."""
    if len(parts) < 2:
        return "".join(parts)
    return f"{', '.join(parts[:-1])} {last} {parts[-1]}"


def sentence_case(text: str) -> str:
    """Return the text with its first letter a capital and the rest untouched."""
    return text[:1].upper() + text[1:]


def lower_first(text: str) -> str:
    """Return the text with its first letter small, unless it starts an abbreviation."""
    return text if text[1:2].isupper() else text[:1].lower() + text[1:]
