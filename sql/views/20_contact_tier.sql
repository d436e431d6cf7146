-- One row a contact: its clock hour, its findings and its highest toxicity-symptom tier.
-- A contact that did not reach the family ascertains nothing: its findings are null.
create or replace view contact_tier as
with reached_contact as (
    select
        contact.*,
        coalesce(
            breathing_difficulty, unresponsive, perioral_numbness,
            tinnitus, agitation, metallic_taste
        ) is not null as symptoms_asked
    from contact
),

found as (
    select
        reached_contact.*,
        case
            when not (reached and symptoms_asked) then null
            when coalesce(breathing_difficulty, false) or coalesce(unresponsive, false)
                then 'emergency'
            when coalesce(perioral_numbness, false) or coalesce(tinnitus, false)
                or coalesce(agitation, false)
                then 'urgent'
            when coalesce(metallic_taste, false) then 'call'
            else 'none'
        end as tier
    from reached_contact
),

clocked as (
    select
        found.*,
        episode_dwell.site,
        episode_dwell.placed_month,
        episode_dwell.first_night_end_h,
        episode_dwell.discharged_h,
        episode_dwell.first_home_day,
        episode_dwell.last_home_day,
        cast(floor(found.at_h / 24) as integer) + 1 as day_number,
        episode_dwell.placed_hour + found.at_h
        - 24 * floor((episode_dwell.placed_hour + found.at_h) / 24) as clock_hour
    from found
    inner join episode_dwell on found.episode_id = episode_dwell.episode_id
),

final as (
    select
        contact_id,
        episode_id,
        site,
        placed_month,
        at_h,
        day_number,
        -- An earlier contact is part of the stay in hospital.
        case
            when at_h >= discharged_h and day_number between first_home_day and last_home_day
                then day_number
        end as home_day,
        clock_hour,
        clock_hour >= 22 or clock_hour < 6 as is_night,
        at_h < first_night_end_h as is_before_first_night_end,
        direction,
        reached,
        minutes_to_answer,
        topic,
        tier,
        tier <> 'none' as has_toxicity_symptom,
        case when reached then leakage = 'large' end as is_large_leakage,
        case when reached then dressing = 'exposed' end as is_entry_exposed,
        case when reached then redness_swelling end as has_redness_swelling,
        case when reached then fell end as fell,
        case when reached then limb_weakness end as limb_weakness,
        case when reached then pain_score end as pain_score,
        case when reached then opioid_doses end as opioid_doses,
        outcome
    from clocked
)

select * from final;

comment on view contact_tier is 'One row a contact: clock hour, findings and toxicity-symptom tier. Findings are null where the family was not reached or not asked.';
comment on column contact_tier.contact_id is 'Opaque key of the contact.';
comment on column contact_tier.episode_id is 'Episode that the contact is about.';
comment on column contact_tier.site is 'Code of the site.';
comment on column contact_tier.placed_month is 'Calendar month of placement, YYYY-MM.';
comment on column contact_tier.at_h is 'When it took place, hours since placement.';
comment on column contact_tier.day_number is 'Day since placement: 1 for hours 0 to 24.';
comment on column contact_tier.home_day is 'day_number, where that is a catheter-day at home and the contact came after going home.';
comment on column contact_tier.clock_hour is 'Clock hour, 0 up to 24, to within an hour; null without placed_hour.';
comment on column contact_tier.is_night is 'From 22:00 to 06:00; null without placed_hour.';
comment on column contact_tier.is_before_first_night_end is 'Before the first 06:00 after placement, or before 24 h where placed_hour is not known.';
comment on column contact_tier.direction is 'Who started it: service (the planned daily call) or family.';
comment on column contact_tier.reached is 'The other side was reached.';
comment on column contact_tier.minutes_to_answer is 'Minutes until a call by the family was answered.';
comment on column contact_tier.topic is 'What it was mainly about.';
comment on column contact_tier.tier is 'Highest tier of possible toxicity symptoms: emergency, urgent, call or none; null where none of them was asked.';
comment on column contact_tier.has_toxicity_symptom is 'Any symptom of possible systemic toxicity.';
comment on column contact_tier.is_large_leakage is 'Large leakage at the skin entry; small amounts are usual.';
comment on column contact_tier.is_entry_exposed is 'The skin entry was uncovered or soiled.';
comment on column contact_tier.has_redness_swelling is 'Redness or swelling at the skin entry.';
comment on column contact_tier.fell is 'The child fell.';
comment on column contact_tier.limb_weakness is 'The limb was weak.';
comment on column contact_tier.pain_score is 'Worst pain since the last contact, 0 to 10.';
comment on column contact_tier.opioid_doses is 'Opioid doses since the last contact.';
comment on column contact_tier.outcome is 'What the contact led to.';
