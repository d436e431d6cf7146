-- The settings that rules in SQL read. These are the defaults; a session of the
-- program puts the programme's own settings in their place under the same names.
create or replace view setting as
select name, cast(value as double) as value
from (
    values ('evening_meal_hour', 18.0)
) as defaults (name, value);

comment on view setting is 'One row a setting that a rule in SQL reads.';
comment on column setting.name is 'Name of the setting, as in the settings file.';
comment on column setting.value is 'Its value.';

create or replace view dose_ceiling as
select below_age_years, cast(mg_kg_h as double) as mg_kg_h
from (
    values (1, 0.2), (22, 0.4)
) as defaults (below_age_years, mg_kg_h);

comment on view dose_ceiling is 'One row an age limit of the local ceiling on the infusion dose. For counting, not for dosing.';
comment on column dose_ceiling.below_age_years is 'The ceiling holds for children younger than this, and not younger than the limit before.';
comment on column dose_ceiling.mg_kg_h is 'Highest infusion dose, mg of local anaesthetic per kg and hour.';
