"""Codes as words: reasons as they stand in "removal for dislodgement", all others as labels."""

NOUNS: dict[str, str] = {
    "completed": "a completed course",
    "dislodged": "dislodgement",
    "leakage": "leakage",
    "dressing_failure": "dressing failure",
    "infection_signs": "signs of infection",
    "toxicity_symptoms": "symptoms of toxicity",
    "inadequate_analgesia": "inadequate analgesia",
    "numbness_weakness": "numbness or weakness",
    "pump_fault": "a pump fault",
    "imaging": "imaging",
    "family_request": "the family's request",
    "other": "another reason",
    "not_recorded": "a reason not recorded",
}

# Codes of which the words do not follow by taking the underscore away.
LABELS: dict[str, str] = {"foot_ankle": "foot and ankle"}


def words_of(code: str) -> str:
    """Return a code as words, without a capital."""
    return LABELS.get(code, code.replace("_", " "))


def noun_of(reason: str) -> str:
    """Return a reason for use after "removal for"; an unknown one as its words."""
    return NOUNS.get(reason, words_of(reason))
