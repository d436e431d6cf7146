"""One tree of errors, an exit code each.

A message says what happened, where, and what to do next. It gives a rule and a
count, never a record's values.
"""


class DwellError(Exception):
    """Base of every error that a user can meet; never shown as a traceback."""

    exit_code = 1

    def __init__(self, message: str, *, try_next: str | None = None) -> None:
        super().__init__(message)
        self.message = message
        self.try_next = try_next

    def __str__(self) -> str:
        """Return the message, and on a second line what to try next."""
        if self.try_next is None:
            return self.message
        return f"{self.message}\nTry: {self.try_next}"


class UsageError(DwellError):
    """The command's words do not fit: an unknown measure, column or period."""

    exit_code = 2


class InputError(DwellError):
    """A file or folder cannot be read, or does not follow the record layout."""

    exit_code = 3


class PrivacyError(DwellError):
    """A file carries something that could identify a child; nothing is stored."""

    exit_code = 4


class StoreError(DwellError):
    """The store is missing, locked, read-only, damaged or of another version."""

    exit_code = 5


class NoDataError(DwellError):
    """The store holds nothing for what was asked."""

    exit_code = 6


class RenderError(DwellError):
    """A report, figure or file could not be made; the previous one is left in place."""

    exit_code = 7


class SettingsError(DwellError):
    """The settings file is unreadable or holds an unknown or impossible value."""

    exit_code = 8
