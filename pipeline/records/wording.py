"""Reasons of removal as they stand in a sentence: "removal for dislodgement"."""

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


def noun_of(reason: str) -> str:
    """Return a reason for use after "removal for"; an unknown one as its words."""
    return NOUNS.get(reason, reason.replace("_", " "))
