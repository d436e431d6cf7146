"""The declaration of the smaller records: visits, events, sites, changes and actions."""

from pipeline.records import codes as vocabulary
from pipeline.records.declaration import Field, Kind, Record, Rule
from pipeline.records.fields import hours, yes_no

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
        hours("at_h", "When it took place.", required=True),
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
        yes_no("new_phase", "The charts of those measures start a new phase here."),
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
        hours("at_h", "When it happened.", required=True),
        Field("kind", Kind.CODE, "Kind of event.", required=True, codes=vocabulary.EventKind),
        yes_no("reviewed", "The service has reviewed it."),
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
