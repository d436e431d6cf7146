"""The one declaration of the records.

Validation, the tables of the store, the synthetic records and the data dictionary
are all made from `RECORDS`; nothing about a column is written down twice.
"""

from pipeline.records import codes as vocabulary
from pipeline.records.declaration import Field, Kind, Record, Rule

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


def _hours(name: str, description: str, **more: float | bool) -> Field:
    bounds = {"low": 0, "high": LONGEST_H, "unit": _HOURS}
    return Field(name, Kind.NUMBER, description, **bounds, **more)  # type: ignore[arg-type]


def _yes_no(name: str, description: str, *, required: bool = False) -> Field:
    return Field(name, Kind.YES_NO, description, required=required)


EPISODE = Record(
    name="episode",
    grain="one peripheral nerve catheter in one child, from placement to removal",
    key="episode_id",
    required_file=True,
    unique=(("site", "placed_month", "month_order"),),
    fields=(
        Field("episode_id", Kind.KEY, "Opaque key of the episode.", required=True),
        Field("patient_key", Kind.KEY, "Opaque key that links repeat catheters of one child."),
        Field(
            "site",
            Kind.CODE,
            "Code of the site, as in the site table.",
            required=True,
            refers_to="site",
        ),
        Field("placed_month", Kind.MONTH, "Calendar month of placement.", required=True),
        Field(
            "month_order",
            Kind.INTEGER,
            "Order of placement within the month at the site.",
            required=True,
            low=1,
        ),
        Field(
            "placed_hour",
            Kind.INTEGER,
            "Clock hour of placement.",
            low=0,
            high=23,
            unit="clock hour",
        ),
        Field("age_years", Kind.INTEGER, "Age in whole years.", low=0, high=21, unit="years"),
        Field("weight_kg", Kind.NUMBER, "Body weight.", low=2, high=200, unit="kg"),
        _yes_no("interpreter_needed", "The family needs an interpreter for telephone calls."),
        Field(
            "surgeon_type",
            Kind.CODE,
            "Kind of surgery.",
            required=True,
            codes=vocabulary.SurgeonType,
        ),
        Field(
            "nerve_target",
            Kind.CODE,
            "Nerve, plexus or plane; each belongs to a limb.",
            required=True,
            codes=vocabulary.NerveTarget,
        ),
        Field("placed_by", Kind.CODE, "Who placed the catheter.", codes=vocabulary.PlacedBy),
        _yes_no("tunnelled", "The catheter was tunnelled under the skin."),
        _yes_no("skin_glue", "The skin entry was sealed with tissue glue."),
        Field("drug", Kind.CODE, "Local anaesthetic in the pump.", codes=vocabulary.Drug),
        Field(
            "concentration_pct",
            Kind.NUMBER,
            "Concentration of the local anaesthetic.",
            low=0.05,
            high=2,
            unit="percent (g per 100 ml)",
        ),
        Field("rate_ml_h", Kind.NUMBER, "Flow rate of the pump.", low=0, high=20, unit="ml/h"),
        Field(
            "reservoir_ml", Kind.NUMBER, "Filled volume of the pump.", low=0, high=5000, unit="ml"
        ),
        Field(
            "planned_dwell_h",
            Kind.NUMBER,
            "Planned time in place; 72 is the usual course.",
            required=True,
            low=12,
            high=168,
            unit="hours",
        ),
        Field(
            "bolus_mg",
            Kind.NUMBER,
            "Local anaesthetic given through the needle or catheter at placement.",
            low=0,
            high=1000,
            unit="mg",
        ),
        Field(
            "operation_key",
            Kind.KEY,
            "Opaque key that catheters share which were placed in one child at one operation.",
        ),
        Field(
            "pump_problem",
            Kind.CODE,
            "What went wrong with the pump.",
            codes=vocabulary.PumpProblem,
        ),
        _yes_no("limb_aid_given", "A sling, brace or crutches were given for the limb."),
        _hours("discharged_h", "When the child went home."),
        _hours("removed_h", "Removal time, where it is known exactly."),
        _hours("removed_after_h", "Last time known to be in place, where only that is known."),
        _hours("removed_before_h", "First time known to be out, where only that is known."),
        Field(
            "removal_time_source",
            Kind.CODE,
            "Where the removal time comes from.",
            codes=vocabulary.RemovalTimeSource,
        ),
        Field(
            "removal_reason",
            Kind.CODE,
            "Why the catheter came out.",
            codes=vocabulary.RemovalReason,
        ),
        Field("removed_by", Kind.CODE, "Who took it out.", codes=vocabulary.RemovedBy),
        Field(
            "removal_difficulty",
            Kind.CODE,
            "Trouble while it was taken out.",
            codes=vocabulary.RemovalDifficulty,
        ),
        _hours(
            "last_known_in_place_h",
            "Last time known to be in place, for episodes with no known removal.",
        ),
        Field(
            "rebound_pain_score",
            Kind.INTEGER,
            "Worst pain in the 24 hours after removal.",
            low=0,
            high=10,
            unit="0 to 10",
        ),
        Field(
            "satisfaction_score",
            Kind.INTEGER,
            "How satisfied the family was.",
            low=0,
            high=10,
            unit="0 to 10",
        ),
        _hours("followed_until_h", "End of follow-up for visits; 168 is a full week."),
    ),
    rules=(
        Rule(
            "placed_month_not_in_the_future",
            "placed_month",
            "placed_month <= as_of_month",
            "placed_month must not be later than the month of extraction.",
        ),
        Rule(
            "reason_needs_removal",
            "removal_reason",
            "removal_reason is null or removed_h is not null"
            " or removed_after_h is not null or removed_before_h is not null",
            "A removal reason needs a removal time or interval.",
        ),
        Rule(
            "after_not_later_than_removal",
            "removed_after_h",
            "removed_after_h <= removed_h",
            "removed_after_h must not be later than removed_h.",
        ),
        Rule(
            "before_not_earlier_than_removal",
            "removed_before_h",
            "removed_h <= removed_before_h",
            "removed_before_h must not be earlier than removed_h.",
        ),
        Rule(
            "interval_in_order",
            "removed_after_h",
            "removed_after_h <= removed_before_h",
            "removed_after_h must not be later than removed_before_h.",
        ),
        Rule(
            "removal_within_14_days",
            "removed_h",
            f"coalesce(removed_h, removed_before_h, removed_after_h) <= {MAX_DWELL_H:g}",
            "A removal later than 14 days is questioned: set aside until it is confirmed.",
            questioned=True,
        ),
    ),
)

CONTACT = Record(
    name="contact",
    grain="one telephone call, or other contact, about an episode",
    key="contact_id",
    fields=(
        Field("contact_id", Kind.KEY, "Opaque key of the contact.", required=True),
        Field(
            "episode_id",
            Kind.KEY,
            "Episode that the contact is about.",
            required=True,
            refers_to="episode",
        ),
        _hours("at_h", "When it took place.", required=True),
        Field("direction", Kind.CODE, "Who started it.", required=True, codes=vocabulary.Direction),
        _yes_no("reached", "The other side was reached.", required=True),
        Field(
            "minutes_to_answer",
            Kind.NUMBER,
            "Time until a family's call was answered.",
            low=0,
            high=10_080,
            unit="minutes",
        ),
        Field(
            "topic", Kind.CODE, "What it was mainly about.", required=True, codes=vocabulary.Topic
        ),
        Field(
            "pain_score",
            Kind.INTEGER,
            "Worst pain since the last contact.",
            low=0,
            high=10,
            unit="0 to 10",
        ),
        Field("leakage", Kind.CODE, "Fluid at the skin entry.", codes=vocabulary.Leakage),
        Field("dressing", Kind.CODE, "State of the dressing.", codes=vocabulary.Dressing),
        *(_yes_no(name, f"Possible systemic toxicity: {said}.") for name, said in SYMPTOMS.items()),
        _yes_no("hoarse_voice", "Hoarse voice: an expected effect of some blocks."),
        _yes_no("drooping_lid", "Drooping lid: an expected effect of some blocks."),
        _yes_no("redness_swelling", "Redness or swelling at the skin entry."),
        _yes_no("limb_weakness", "The limb was weak."),
        _yes_no("fell", "The child fell."),
        Field(
            "opioid_doses",
            Kind.INTEGER,
            "Opioid doses since the last contact.",
            low=0,
            high=1000,
            unit="doses",
        ),
        Field("outcome", Kind.CODE, "What it led to.", codes=vocabulary.Outcome),
        _yes_no("clamped", "The clamp was closed."),
        _yes_no("restarted", "The infusion was started again after it had been stopped."),
        _yes_no("seen", "A clinician saw the child."),
        Field(
            "contact_kind",
            Kind.CODE,
            "Which part of the course it belongs to; the course itself unless given.",
            codes=vocabulary.ContactKind,
        ),
        _yes_no("lasting_numbness", "Numbness beyond the time that was expected."),
        _yes_no("lasting_weakness", "Weakness beyond the time that was expected."),
        _yes_no("lasting_pain", "Pain in the limb beyond the time that was expected."),
    ),
)

VISIT = Record(
    name="visit",
    grain="one unplanned visit",
    key="visit_id",
    fields=(
        Field("visit_id", Kind.KEY, "Opaque key of the visit.", required=True),
        Field(
            "episode_id",
            Kind.KEY,
            "Episode that the visit follows.",
            required=True,
            refers_to="episode",
        ),
        _hours("at_h", "When it took place.", required=True),
        Field("kind", Kind.CODE, "Kind of visit.", required=True, codes=vocabulary.VisitKind),
        Field(
            "relation", Kind.CODE, "What it was for.", required=True, codes=vocabulary.VisitRelation
        ),
    ),
)

SITE = Record(
    name="site",
    grain="one site of the network",
    key="site",
    fields=(
        Field("site", Kind.CODE, "Code of the site.", required=True),
        Field("label", Kind.TEXT, "What the report prints for the site.", required=True),
        Field("opened_month", Kind.MONTH, "First month in which the site placed catheters."),
    ),
)

CHANGE = Record(
    name="change",
    grain="one entry of the improvement log",
    key="change_id",
    fields=(
        Field("change_id", Kind.KEY, "Key of the change.", required=True),
        Field("started_month", Kind.MONTH, "First month with the change.", required=True),
        Field("sites", Kind.LIST, "Codes of the sites that made it, or `all`.", required=True),
        Field("title", Kind.TEXT, "What was changed, in a few words.", required=True),
        Field("measures", Kind.LIST, "Names of the measures it aims at, or `all`."),
        _yes_no("new_phase", "The charts of those measures start a new phase here."),
        Field(
            "kind",
            Kind.CODE,
            "What is logged; a change unless given.",
            codes=vocabulary.ChangeKind,
        ),
        Field("reason", Kind.TEXT, "Why, in a few words; a new baseline needs one."),
    ),
    rules=(
        Rule(
            "baseline_has_a_reason",
            "reason",
            "coalesce(kind, 'change') <> 'baseline' or reason is not null",
            "A new baseline must be logged with its reason.",
        ),
    ),
)

EVENT = Record(
    name="event",
    grain="one serious event",
    key="event_id",
    fields=(
        Field("event_id", Kind.KEY, "Opaque key of the event.", required=True),
        Field(
            "episode_id",
            Kind.KEY,
            "Episode in which it happened.",
            required=True,
            refers_to="episode",
        ),
        _hours("at_h", "When it happened.", required=True),
        Field("kind", Kind.CODE, "Kind of event.", required=True, codes=vocabulary.EventKind),
        _yes_no("reviewed", "The service has reviewed it."),
        Field("reviewed_month", Kind.MONTH, "Month in which it was reviewed."),
    ),
    rules=(
        Rule(
            "month_needs_a_review",
            "reviewed_month",
            "reviewed_month is null or coalesce(reviewed, false)",
            "reviewed_month must be empty where the event was not reviewed.",
        ),
        Rule(
            "reviewed_month_not_in_the_future",
            "reviewed_month",
            "reviewed_month <= as_of_month",
            "reviewed_month must not be later than the month of extraction.",
        ),
    ),
)

ACTION = Record(
    name="action",
    grain="one improvement action",
    key="action_id",
    fields=(
        Field("action_id", Kind.KEY, "Key of the action.", required=True),
        Field("decided_month", Kind.MONTH, "Month in which it was decided.", required=True),
        Field("title", Kind.TEXT, "What is to be done, in a few words.", required=True),
        Field(
            "owner_role",
            Kind.CODE,
            "Role of whoever sees to it.",
            required=True,
            codes=vocabulary.OwnerRole,
        ),
        Field("due_month", Kind.MONTH, "Month by which it is due."),
        Field("state", Kind.CODE, "How far it is.", required=True, codes=vocabulary.ActionState),
        Field("measures", Kind.LIST, "Names of the measures it aims at, or `all`."),
    ),
    rules=(
        Rule(
            "due_not_before_decided",
            "due_month",
            "due_month >= decided_month",
            "due_month must not be earlier than decided_month.",
        ),
    ),
)

# In the order in which they are loaded: a record comes after those it refers to.
RECORDS: dict[str, Record] = {
    record.name: record for record in (SITE, EPISODE, CONTACT, VISIT, EVENT, CHANGE, ACTION)
}
