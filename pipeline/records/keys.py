"""Keyed hashes in the place of identifiers."""

import base64
import hmac
import os
from pathlib import Path

from pipeline.errors import UsageError

KEY_VARIABLE = "DWELL_KEY"
LEAST_KEY = 16  # characters; a shorter key could be found by trying
# Columns that identify, and what they identify: the same episode has the same key in every file.
IDENTIFIERS = {
    "episode_id": "episode",
    "patient_key": "patient",
    "contact_id": "contact",
    "visit_id": "visit",
}


def read_key(path: Path | None) -> bytes:
    """Return the secret key from a file, or from the environment; it is never stored.

    Raises
    ------
    UsageError
        There is none, or it is too short.
    """
    if path is None:
        text = os.environ.get(KEY_VARIABLE, "")
    else:
        try:
            text = path.read_text(encoding="utf-8")
        except (OSError, UnicodeDecodeError):
            raise UsageError(f"The key file {path} cannot be read.") from None
    if len(text.strip()) < LEAST_KEY:
        raise UsageError(
            f"A secret key of at least {LEAST_KEY} characters is needed.",
            try_next=f"--key-file FILE, or the variable {KEY_VARIABLE}",
        )
    return text.strip().encode()


def pseudonym(key: bytes, column: str, value: str) -> str:
    """Return the key that stands for an identifier: HMAC-SHA-256, 100 bits of it.

    Who has not the secret key can neither undo it nor try identifiers out.
    """
    what = IDENTIFIERS[column]
    digest = hmac.digest(key, f"{what}\0{value.strip()}".encode(), "sha256")
    return what[0] + base64.b32encode(digest).decode().lower()[:20]
