r"""What an opaque key, a printed text or any cell that is kept must not look like.

Screens find what is plainly a name, a date, an address or a number that belongs to one
person, also where words are joined by underscores. They catch slips; they do not certify
that a file identifies nobody. National numbers follow their published forms (recalled, not
retrieved); months, titles and streets are common practice, no source.

Patterns are read by the database's engine: they know ``\p{Lu}`` and no look-ahead.
"""

from collections.abc import Iterable

# A rule in words, and patterns searched anywhere in a value.
Screen = tuple[str, tuple[str, ...]]

_D, _M, _Y = "(0[1-9]|[12][0-9]|3[01])", "(0[1-9]|1[0-2])", "(19|20)[0-9]{2}"
_START, _END = "(^|[^0-9])", "([^0-9]|$)"
# Without \p{L} where case is ignored: folding every script takes a tenth of a second.
_WORD_START, _WORD_END = "(^|[^a-zA-Z])", "([^a-zA-Z]|$)"
_NAME = r"\p{Lu}[\p{Ll}'’]+(-\p{Lu}[\p{Ll}'’]+)*"
_MONTHS = (
    r"(jan|feb|f[ée]v|mar|m[äa]r|apr|avr|may|mai|jun|juin|jul|juil|aug|ao[uû]|sep|oct|okt|nov"
    r"|dec|d[ée]c|dez)[^0-9\s._,-]*"
)
_TITLES = "(mr|mrs|ms|miss|master|dr|prof|herr|frau|mme|mlle|se[ñn]ora?)"
_STREETS = (
    "(street|str|st|road|rd|lane|ln|avenue|ave|drive|crescent|terrace|square|gardens"
    "|boulevard|blvd|court)"
)

EMAIL: Screen = ("an e-mail address", (r"[^@\s]+@[^@\s]+\.[^@\s]+",))
DATE: Screen = (
    "a date",
    (
        rf"{_START}{_Y}[-/._ ]{_M}[-/._ ]{_D}{_END}",
        rf"{_START}{_Y}{_M}{_D}{_END}",
        rf"{_START}{_D}{_M}{_Y}{_END}",
        rf"{_START}[0-3]?[0-9][-/._ ][0-3]?[0-9][-/._ ]([0-9]{{4}}|[0-9]{{2}}){_END}",
        rf"(?i){_START}[0-3]?[0-9](st|nd|rd|th)?[-._ ]*{_MONTHS}[-.,_ ]*([0-9]{{2}}){{1,2}}{_END}",
        rf"(?i){_WORD_START}{_MONTHS}[-._ ]+[0-3]?[0-9][-.,_ ]+[0-9]{{4}}{_END}",
        rf"(?i){_WORD_START}(born|dob|d\.o\.b|date of birth){_WORD_END}",
    ),
)
TELEPHONE: Screen = (
    "a telephone number",
    (
        r"\+[0-9][0-9 ()._-]{6,}[0-9]",
        r"\(0?[0-9]{2,5}\)[ ._-]?[0-9]{3}",
        rf"{_START}0[0-9]{{1,4}}[ /_][0-9]{{3,4}}[ _-]?[0-9]{{3,4}}{_END}",
        rf"{_START}[0-9]{{3}}[-. _][0-9]{{3}}[-. _][0-9]{{4}}{_END}",
        rf"{_START}00?[1-9][0-9]{{8,12}}{_END}",
    ),
)
NATIONAL: Screen = (
    "a national number",
    (
        rf"{_START}[0-9]{{3}}[-_ ][0-9]{{2}}[-_ ][0-9]{{4}}{_END}",
        rf"{_START}([0-9]{{2}})?[0-9]{{2}}{_M}{_D}[-+_][0-9]{{4}}{_END}",
        rf"{_START}{_D}{_M}[0-9]{{2}}[-+A][0-9]{{3}}[0-9A-Z]([^0-9A-Z]|$)",
        r"(^|[^A-Z])[A-Z]{6}[0-9]{2}[A-Z][0-9]{2}[A-Z][0-9]{3}[A-Z]([^A-Z]|$)",
        rf"{_START}[0-9]{{3}}\.[0-9]{{3}}\.[0-9]{{3}}-[0-9]{{2}}{_END}",
    ),
)
POSTCODE: Screen = (
    "a postcode",
    (
        r"(?i)(^|[^0-9A-Z])[A-Z]{1,2}[0-9][A-Z0-9]?[ _][0-9][A-Z]{2}([^0-9A-Z]|$)",
        r"(?i)(^|[^0-9A-Z])[A-Z][0-9][A-Z][ _][0-9][A-Z][0-9]([^0-9A-Z]|$)",
        rf"{_START}[0-9]{{4}} [A-Z]{{2}}([^0-9A-Z]|$)",
        rf"{_START}[0-9]{{5}}-[0-9]{{4}}{_END}",
    ),
)
ADDRESS: Screen = (
    "an address",
    (
        rf"(?i){_START}[0-9]{{1,5}}[a-z]?[ ,_-]+([^0-9\s,_-]+[ _-]+){{1,3}}{_STREETS}{_WORD_END}",
        r"(?i)[^0-9\s,_-]{3,}(stra(ß|ss)e|str\.|weg|platz|gasse|laan|straat|gatan|vej)[ _]*[0-9]",
        rf"(?i){_WORD_START}(rue|via|calle|avenida|rua|plaza)[ _][^0-9]+[ _,][0-9]",
    ),
)
# The consultant's or the child's: with a title, by first and last name, in any script.
NAME: Screen = (
    "a name",
    (
        rf"{_NAME}(([ .,_]+({_NAME}|\p{{Lu}}\.))+)",
        rf"(?i:{_WORD_START}{_TITLES}[. _]+)\p{{Lu}}",
        r"\p{Lo}{2,}[ ・·_　]+\p{Lo}{2,}",
    ),
)
# What stands in a text or a code, and seldom in another cell.
CAPITALS: Screen = (
    "a name",
    (
        rf"(^|[^\p{{L}}0-9])\p{{Lu}}{{2,}}[ .,_-]+\p{{Lu}}{{2,}}{_WORD_END}",
        rf"[^0-9\s._-]{{2,}}[._-][^0-9\s._-]{{2,}}[._-]{_Y}{_END}",
    ),
)
NUMBER: Screen = ("a number of one person", (r"[0-9]{7,}",))

CELL_SCREENS = (EMAIL, DATE, TELEPHONE, NATIONAL, POSTCODE, ADDRESS, NAME)
# Of texts that the programme writes itself: nobody can confirm the first, anybody the others.
TEXT_SCREENS = (EMAIL, TELEPHONE, NATIONAL)
TITLE_SCREENS = (DATE, ADDRESS, CAPITALS, NAME, NUMBER)
# Names of places are names of nobody.
PLACES = (
    r"(?i)\b(hospitals?|infirmary|clinics?|centre|center|children|childrens|children['’]s|unit"
    r"|ward|campus|house|site|service|university|north|south|east|west|saint|st|day|surgery)\b\.?"
)


def any_of(patterns: Iterable[str]) -> str:
    """Join patterns into one."""
    return "|".join(f"({pattern})" for pattern in patterns)


def every_pattern(screens: Iterable[Screen]) -> str:
    """Join the patterns of several screens into one."""
    return any_of(pattern for _, patterns in screens for pattern in patterns)
