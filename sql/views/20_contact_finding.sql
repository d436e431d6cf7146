-- One row a contact: its clock hour and its findings.
-- A contact that did not reach the family ascertains nothing: its findings are null.
create or replace view contact_finding as
with asked as (
    select
        contact.*,
        coalesce(
            breathing_difficulty, unresponsive, seizure, drowsy,
            twitching, perioral_numbness, metallic_taste, tinnitus,
            dizziness, visual_change, slurred_speech, agitation,
            palpitations
        ) is not null as symptoms_asked,
        greatest(
            coalesce(unresponsive, false), coalesce(seizure, false),
            coalesce(drowsy, false), coalesce(twitching, false),
            coalesce(perioral_numbness, false), coalesce(metallic_taste, false),
            coalesce(tinnitus, false), coalesce(dizziness, false),
            coalesce(visual_change, false), coalesce(slurred_speech, false),
            coalesce(agitation, false), coalesce(palpitations, false)
        ) as has_other_symptom
    from contact
),

clocked as (
    select
        asked.*,
        episode_dwell.site,
        episode_dwell.placed_month,
        episode_dwell.first_night_end_h,
        episode_dwell.discharged_h,
        episode_dwell.first_home_day,
        episode_dwell.last_home_day,
        -- Shortness of breath is expected where the block reaches the nerve of the diaphragm.
        coalesce(breathing_difficulty, false)
        and episode_dwell.nerve_target in ('interscalene', 'supraclavicular')
            as is_breathless_above_collarbone,
        cast(floor(asked.at_h / 24) as integer) + 1 as day_number,
        episode_dwell.placed_hour + asked.at_h
        - 24 * floor((episode_dwell.placed_hour + asked.at_h) / 24) as clock_hour
    from asked
    inner join episode_dwell on asked.episode_id = episode_dwell.episode_id
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
        coalesce(contact_kind = 'follow_up', false) as is_follow_up,
        direction,
        reached,
        minutes_to_answer,
        topic,
        case
            when reached and symptoms_asked
                then
                    has_other_symptom
                    or (coalesce(breathing_difficulty, false) and not is_breathless_above_collarbone)
        end as has_toxicity_symptom,
        case when reached and symptoms_asked then is_breathless_above_collarbone end
            as is_breathless_above_collarbone,
        case
            when reached and coalesce(hoarse_voice, drooping_lid) is not null
                then coalesce(hoarse_voice, false) or coalesce(drooping_lid, false)
        end as has_expected_effect,
        case when reached then leakage = 'large' end as is_large_leakage,
        case when reached then dressing = 'exposed' end as is_entry_exposed,
        case when reached then redness_swelling end as has_redness_swelling,
        case when reached then fell end as fell,
        case when reached then limb_weakness end as limb_weakness,
        case when reached then pain_score end as pain_score,
        case when reached then opioid_doses end as opioid_doses,
        case
            when reached and coalesce(lasting_numbness, lasting_weakness, lasting_pain) is not null
                then
                    coalesce(lasting_numbness, false) or coalesce(lasting_weakness, false)
                    or coalesce(lasting_pain, false)
        end as has_lasting_symptom,
        outcome,
        clamped,
        restarted,
        seen
    from clocked
)

select * from final;

comment on view contact_finding is 'One row a contact: clock hour and findings. Findings are null where the family was not reached or not asked.';
comment on column contact_finding.contact_id is 'Opaque key of the contact.';
comment on column contact_finding.episode_id is 'Episode that the contact is about.';
comment on column contact_finding.site is 'Code of the site.';
comment on column contact_finding.placed_month is 'Calendar month of placement, YYYY-MM.';
comment on column contact_finding.at_h is 'When it took place, hours since placement.';
comment on column contact_finding.day_number is 'Day since placement: 1 for hours 0 to 24.';
comment on column contact_finding.home_day is 'day_number, where that is a catheter-day at home and the contact came after going home.';
comment on column contact_finding.clock_hour is 'Clock hour, 0 up to 24, to within an hour; null without placed_hour.';
comment on column contact_finding.is_night is 'From 22:00 to 06:00; null without placed_hour.';
comment on column contact_finding.is_before_first_night_end is 'Before the first 06:00 after placement, or before 24 h where placed_hour is not known.';
comment on column contact_finding.is_follow_up is 'Belongs to the follow-up after the block, and not to the course.';
comment on column contact_finding.direction is 'Who started it: service (the planned daily call) or family.';
comment on column contact_finding.reached is 'The other side was reached.';
comment on column contact_finding.minutes_to_answer is 'Minutes until a call by the family was answered.';
comment on column contact_finding.topic is 'What it was mainly about.';
comment on column contact_finding.has_toxicity_symptom is 'Any symptom of possible systemic toxicity, but for shortness of breath alone with a block above the collarbone; null where none was asked.';
comment on column contact_finding.is_breathless_above_collarbone is 'Shortness of breath with a block above the collarbone: an expected effect, and an emergency all the same.';
comment on column contact_finding.has_expected_effect is 'Hoarse voice or drooping lid: expected effects of some blocks, kept apart from toxicity.';
comment on column contact_finding.is_large_leakage is 'Large leakage at the skin entry; small amounts are usual.';
comment on column contact_finding.is_entry_exposed is 'The skin entry was uncovered or soiled.';
comment on column contact_finding.has_redness_swelling is 'Redness or swelling at the skin entry.';
comment on column contact_finding.fell is 'The child fell.';
comment on column contact_finding.limb_weakness is 'The limb was weak.';
comment on column contact_finding.pain_score is 'Worst pain since the last contact, 0 to 10.';
comment on column contact_finding.opioid_doses is 'Opioid doses since the last contact.';
comment on column contact_finding.has_lasting_symptom is 'Numbness, weakness or pain beyond the time that was expected.';
comment on column contact_finding.outcome is 'What the contact led to.';
comment on column contact_finding.clamped is 'The clamp was closed.';
comment on column contact_finding.restarted is 'The infusion was started again after it had been stopped.';
comment on column contact_finding.seen is 'A clinician saw the child.';
