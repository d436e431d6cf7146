"""What the declarations of the records share: symptoms, bounds, and kinds of column."""

from pipeline.records.declaration import Field, Kind

# Symptoms of possible local anaesthetic systemic toxicity, as a family says them.
SYMPTOMS: dict[str, str] = {
    "breathing_difficulty": "trouble breathing",
    "unresponsive": "does not respond",
    "seizure": "a fit",
    "drowsy": "very drowsy or hard to wake",
    "twitching": "twitching",
    "perioral_numbness": "numb mouth or tongue",
    "metallic_taste": "metal taste",
    "tinnitus": "ringing ears",
    "dizziness": "dizziness",
    "visual_change": "changed sight",
    "slurred_speech": "slurred speech",
    "agitation": "agitation or confusion",
    "palpitations": "palpitations",
}

LONGEST_H = 8784.0  # a leap year; later hours are slips of the hand or of a unit
MAX_DWELL_H = 336.0  # 14 days; a longer dwell is questioned, not loaded silently
_HOURS = "hours since placement"


def hours(name: str, description: str, **more: float | bool) -> Field:
    """Return a column of hours since placement."""
    bounds = {"low": 0, "high": LONGEST_H, "unit": _HOURS}
    return Field(name, Kind.NUMBER, description, **bounds, **more)  # type: ignore[arg-type]


def yes_no(name: str, description: str, *, required: bool = False) -> Field:
    """Return a column of yes or no."""
    return Field(name, Kind.YES_NO, description, required=required)
