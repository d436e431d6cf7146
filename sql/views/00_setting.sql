-- The settings that rules in SQL read. These are the defaults; a session of the
-- program puts the programme's own settings in their place under the same names.
create or replace view setting as
select name, cast(value as double) as value
from (
    values ('removal_by_hour', 14.0), ('answer_minutes', 15.0)
) as defaults (name, value);

comment on view setting is 'One row a setting that a rule in SQL reads.';
comment on column setting.name is 'Name of the setting, as in the settings file.';
comment on column setting.value is 'Its value.';

create or replace view dose_ceiling as
select
    cast(null as varchar) as drug,
    cast(null as integer) as from_age_years,
    cast(null as integer) as below_age_years,
    cast(null as double) as mg_kg_h
where false;

comment on view dose_ceiling is 'One row a drug and ages with a local ceiling on the dose; none unless set. For counting, not for dosing.';
comment on column dose_ceiling.drug is 'Local anaesthetic that the ceiling is for.';
comment on column dose_ceiling.from_age_years is 'The ceiling holds for children of at least this age.';
comment on column dose_ceiling.below_age_years is 'The ceiling holds for children younger than this.';
comment on column dose_ceiling.mg_kg_h is 'Highest dose, mg of local anaesthetic per kg and hour.';

-- Tiers: emergency, same_hour, next_call (common practice, no source).
create or replace view symptom_tier as
select symptom, tier
from (
    values
    ('breathing_difficulty', 'emergency'),
    ('unresponsive', 'emergency'),
    ('seizure', 'emergency'),
    ('drowsy', 'same_hour'),
    ('twitching', 'same_hour'),
    ('perioral_numbness', 'same_hour'),
    ('metallic_taste', 'same_hour'),
    ('tinnitus', 'same_hour'),
    ('dizziness', 'same_hour'),
    ('visual_change', 'same_hour'),
    ('slurred_speech', 'same_hour'),
    ('agitation', 'same_hour'),
    ('palpitations', 'same_hour')
) as defaults (symptom, tier);

comment on view symptom_tier is 'One row a symptom of possible systemic toxicity, with its tier.';
comment on column symptom_tier.symptom is 'Symptom, as its column of the contact record is called.';
comment on column symptom_tier.tier is 'How soon it is to be answered: emergency, same_hour or next_call.';
