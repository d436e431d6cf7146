"""Words that site exports use for the columns, codes and units of the layout.

Common practice, no source: what a person would try first when reading such a header.
"""

FIELD_WORDS: dict[str, tuple[str, ...]] = {
    "episode_id": ("episode", "case", "catheter no", "catheter id", "case no", "case number", "id"),
    "patient_key": ("patient", "child", "child no", "patient no", "study number", "person"),
    "site": ("hospital", "centre", "center", "location", "campus"),
    "month_order": ("order", "no in month", "number in month", "sequence"),
    "placed_month": ("month", "month placed", "placement month"),
    "placed_hour": ("hour", "hour placed", "placement hour"),
    "age_years": ("age", "age at surgery"),
    "weight_kg": ("weight", "body weight", "wt"),
    "interpreter_needed": ("interpreter", "interpreter required", "language support"),
    "surgeon_type": ("surgery", "team", "service", "specialty", "surgeon", "surgical team"),
    "nerve_target": ("block", "nerve", "nerve block", "catheter site", "target"),
    "placed_by": ("by", "who placed", "operator", "inserted by", "anaesthetist", "anesthetist"),
    "tunnelled": ("tunnel", "tunneled", "tunnelling"),
    "skin_glue": ("glue", "glued", "adhesive"),
    "drug": ("la", "local anaesthetic", "local anesthetic", "agent", "medication"),
    "concentration_pct": ("concentration", "strength", "conc", "mg ml"),
    "rate_ml_h": ("rate", "flow", "flow rate", "infusion rate", "ml h"),
    "reservoir_ml": ("volume", "reservoir", "fill", "fill volume", "pump volume"),
    "planned_dwell_h": ("plan", "planned", "planned duration", "planned hours", "course"),
    "discharged_h": ("home", "discharged", "discharge", "went home"),
    "removed_h": ("out", "removed", "removal", "removal time", "catheter out"),
    "removed_after_h": ("last seen in", "in at least", "in place at"),
    "removed_before_h": ("first seen out", "found out", "out by"),
    "removal_time_source": ("time from", "time source", "time told by"),
    "removal_reason": ("reason", "why out", "removal reason", "cause of removal"),
    "removed_by": ("out by whom", "removed by", "who removed"),
    "removal_difficulty": ("difficulty", "trouble", "ease of removal", "removal difficulty"),
    "last_known_in_place_h": ("last word", "last news", "last contact"),
    "followed_until_h": ("followed", "follow up", "followed until"),
    "contact_id": ("call", "call no", "call id", "contact", "contact no"),
    "at_h": ("at", "time", "when", "hours", "call time", "arrived", "arrival"),
    "direction": ("from", "caller", "who called", "started by"),
    "reached": ("spoke", "answered", "got through", "contact made"),
    "minutes_to_answer": ("wait", "answered after", "time to answer", "response time"),
    "topic": ("about", "subject", "reason for call"),
    "pain_score": ("pain", "worst pain", "pain now", "score"),
    "leakage": ("leak", "fluid", "leaking"),
    "dressing": ("dressing state",),
    "breathing_difficulty": ("breathing", "dyspnoea", "dyspnea"),
    "unresponsive": ("not responding", "unconscious", "drowsy"),
    "perioral_numbness": ("lips", "numb mouth", "mouth numbness", "numb lips"),
    "tinnitus": ("ears", "ringing", "ringing ears"),
    "metallic_taste": ("taste", "metal taste"),
    "agitation": ("agitated", "restless"),
    "redness_swelling": ("red", "redness", "swelling", "infection"),
    "limb_weakness": ("weak", "weakness", "weak limb"),
    "fell": ("fall", "falls", "any fall"),
    "opioid_doses": ("opioid", "opioids", "doses", "rescue doses"),
    "outcome": ("then", "result", "action", "advice"),
    "visit_id": ("visit", "visit no", "attendance"),
    "kind": ("where", "place", "type"),
    "relation": ("for", "cause", "related to"),
    "label": ("name", "printed name"),
    "opened_month": ("opened", "start"),
    "change_id": ("change", "change no"),
    "started_month": ("started", "from month"),
    "sites": ("at sites",),
    "title": ("what", "description"),
    "measures": ("aims at",),
    "new_phase": ("phase",),
}  # fmt: skip

# Ticks and rings are left out: what they mean differs from site to site.
YES = ("yes", "y", "true", "1", "ja", "oui", "si", "j")
NO = ("no", "n", "false", "0", "nein", "non", "nee")
MISSING = ("n/a", "na", "null", "none recorded", "unknown", "not recorded", "?", "-", ".")

UNIT_WORDS: dict[str, tuple[str, ...]] = {
    "lb": ("lb", "lbs", "pounds"),
    "kg": ("kg",),
    "g": ("g", "grams"),
    "min": ("min", "mins", "minutes"),
    "h": ("h", "hrs", "hours"),
    "d": ("d", "days"),
    "s": ("s", "sec", "seconds"),
    "mg/ml": ("mg/ml",),
    "ml/min": ("ml/min",),
    "l": ("l", "litres", "liters"),
    "months": ("months", "mo"),
}

CLOCK_FORMATS = (
    "%Y-%m-%d %H:%M:%S", "%Y-%m-%d %H:%M", "%Y-%m-%dT%H:%M:%S", "%Y-%m-%dT%H:%M",
    "%d.%m.%Y %H:%M", "%d/%m/%Y %H:%M", "%d-%m-%Y %H:%M", "%m/%d/%Y %H:%M",
    "%d.%m.%y %H:%M", "%d/%m/%y %H:%M", "%Y/%m/%d %H:%M", "%d %b %Y %H:%M",
)  # fmt: skip

# Abbreviations of codes, in lower case.
CODE_WORDS: dict[str, dict[str, str]] = {
    "nerve_target": {
        "isb": "interscalene", "scb": "supraclavicular", "icb": "infraclavicular",
        "axb": "axillary", "fnb": "femoral", "acb": "adductor_canal",
        "saphenous": "adductor_canal", "ficb": "fascia_iliaca", "fib": "fascia_iliaca",
        "popliteal": "sciatic_popliteal", "pop": "sciatic_popliteal",
        "subgluteal": "sciatic_subgluteal", "lpb": "lumbar_plexus", "pvb": "trunk_wall",
        "paravertebral": "trunk_wall", "tap": "trunk_wall",
    },
    "surgeon_type": {
        "knee": "sports", "shoulder": "sports", "fracture": "trauma", "foot": "foot_ankle",
        "ankle": "foot_ankle", "wrist": "hand", "oncology": "tumour", "tumor": "tumour",
    },
    "placed_by": {"attending": "consultant", "resident": "trainee", "registrar": "trainee"},
    "drug": {"lignocaine": "lidocaine"},
    "removal_reason": {
        "fell out": "dislodged", "came out": "dislodged", "pulled out": "dislodged",
        "planned": "completed", "done": "completed", "end of course": "completed",
    },
    "removed_by": {
        "parent": "family", "home": "family", "nurse": "clinician", "staff": "clinician",
    },
    "direction": {"nurse": "service", "us": "service", "home": "family", "parent": "family"},
}  # fmt: skip
