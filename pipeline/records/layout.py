"""The one declaration of the records.

Validation, the tables of the store, the synthetic records and the data dictionary
are all made from `RECORDS`; nothing about a column is written down twice.
"""

from pipeline.records import codes as vocabulary
from pipeline.records.declaration import Field, Kind, Record, Rule
from pipeline.records.fields import MAX_DWELL_H, SYMPTOMS, hours, yes_no
from pipeline.records.programme_layout import ACTION, CHANGE, EVENT, SITE, VISIT

__all__ = ["RECORDS", "SYMPTOMS"]

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
        yes_no("interpreter_needed", "The family needs an interpreter for telephone calls."),
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
        yes_no("tunnelled", "The catheter was tunnelled under the skin."),
        yes_no("skin_glue", "The skin entry was sealed with tissue glue."),
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
        yes_no("limb_aid_given", "A sling, brace or crutches were given for the limb."),
        hours("discharged_h", "When the child went home."),
        hours("removed_h", "Removal time, where it is known exactly."),
        hours("removed_after_h", "Last time known to be in place, where only that is known."),
        hours("removed_before_h", "First time known to be out, where only that is known."),
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
        hours(
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
        hours("followed_until_h", "End of follow-up for visits; 168 is a full week."),
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
        hours("at_h", "When it took place.", required=True),
        Field("direction", Kind.CODE, "Who started it.", required=True, codes=vocabulary.Direction),
        yes_no("reached", "The other side was reached.", required=True),
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
        *(yes_no(name, f"Possible systemic toxicity: {said}.") for name, said in SYMPTOMS.items()),
        yes_no("hoarse_voice", "Hoarse voice: an expected effect of some blocks."),
        yes_no("drooping_lid", "Drooping lid: an expected effect of some blocks."),
        yes_no("redness_swelling", "Redness or swelling at the skin entry."),
        yes_no("limb_weakness", "The limb was weak."),
        yes_no("fell", "The child fell."),
        Field(
            "opioid_doses",
            Kind.INTEGER,
            "Opioid doses since the last contact.",
            low=0,
            high=1000,
            unit="doses",
        ),
        Field("outcome", Kind.CODE, "What it led to.", codes=vocabulary.Outcome),
        yes_no("clamped", "The clamp was closed."),
        yes_no("restarted", "The infusion was started again after it had been stopped."),
        yes_no("seen", "A clinician saw the child."),
        Field(
            "contact_kind",
            Kind.CODE,
            "Which part of the course it belongs to; the course itself unless given.",
            codes=vocabulary.ContactKind,
        ),
        yes_no("lasting_numbness", "Numbness beyond the time that was expected."),
        yes_no("lasting_weakness", "Weakness beyond the time that was expected."),
        yes_no("lasting_pain", "Pain in the limb beyond the time that was expected."),
    ),
)

# In the order in which they are loaded: a record comes after those it refers to.
RECORDS: dict[str, Record] = {
    record.name: record for record in (SITE, EPISODE, CONTACT, VISIT, EVENT, CHANGE, ACTION)
}
