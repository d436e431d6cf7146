-- One row an episode: what its contacts found. A count is null where no contact
-- could have told: nobody was reached, or the question was not asked.
create or replace view contact_summary as
with per_episode as (
    select
        episode_id,
        min(site) as site,
        min(placed_month) as placed_month,
        count(*) as contacts,
        count(case when reached then 1 end) as contacts_reached,
        count(case when direction = 'service' then 1 end) as planned_contacts,
        count(case when direction = 'service' and reached then 1 end) as planned_contacts_reached,
        min(at_h) as first_contact_h,
        count(case when direction = 'family' then 1 end) as family_calls,
        count(case when direction = 'family' and is_night then 1 end) as night_calls,
        count(case
            when direction = 'family' and (minutes_to_answer is not null or not reached) then 1
        end) as timed_calls,
        sum(case when has_toxicity_symptom then 1 when not has_toxicity_symptom then 0 end)
            as toxicity_contacts,
        sum(case when has_expected_effect then 1 when not has_expected_effect then 0 end)
            as expected_effect_contacts,
        count(case when has_toxicity_symptom and outcome = 'catheter_removed' then 1 end)
            as removals_for_symptoms,
        sum(case when is_large_leakage then 1 when not is_large_leakage then 0 end)
            as large_leakage_contacts,
        sum(case when is_entry_exposed then 1 when not is_entry_exposed then 0 end)
            as exposed_contacts,
        sum(case when has_redness_swelling then 1 when not has_redness_swelling then 0 end)
            as redness_contacts,
        sum(case when fell then 1 when not fell then 0 end) as falls,
        max(case when not is_before_first_night_end then pain_score end)
            as worst_pain_after_first_night,
        sum(opioid_doses) as opioid_doses,
        max(case when opioid_doses is not null then at_h end) as last_opioid_report_h,
        count(case
            when direction = 'service' and reached and opioid_doses is null then 1
        end) as calls_without_opioid_report,
        -- One bit a day, because several contacts of a day are one catheter-day.
        bit_or(case when reached then cast(power(2, home_day - 1) as integer) end) as home_days_reached
    from contact_finding
    where not is_follow_up
    group by episode_id
),

followed_up as (
    select
        episode_id,
        sum(case when has_lasting_symptom then 1 when not has_lasting_symptom then 0 end)
            as lasting_symptom_contacts
    from contact_finding
    where is_follow_up
    group by episode_id
),

logged as (
    -- A site that sent no contact at all for a month has not told us that there was none.
    select distinct site, placed_month
    from per_episode
),

final as (
    select
        episode_dwell.episode_id,
        logged.site is not null as has_contact_log,
        coalesce(per_episode.contacts, 0) as contacts,
        coalesce(per_episode.contacts_reached, 0) as contacts_reached,
        coalesce(per_episode.planned_contacts, 0) as planned_contacts,
        coalesce(per_episode.planned_contacts_reached, 0) as planned_contacts_reached,
        -- What its removal tells is then all there is to know of it. Without any contact,
        -- the first call would have come within a day.
        logged.site is not null and episode_dwell.is_removed
        and episode_dwell.reason <> 'not_recorded'
        and coalesce(per_episode.first_contact_h, 24) > episode_dwell.dwell_h
            as is_out_before_first_contact,
        case when logged.site is not null then coalesce(per_episode.family_calls, 0) end
            as family_calls,
        case
            when logged.site is null then null
            when coalesce(per_episode.family_calls, 0) = 0 then 0
            when episode_dwell.placed_hour is not null then per_episode.night_calls
        end as night_calls,
        case when logged.site is not null then coalesce(per_episode.timed_calls, 0) end
            as timed_calls,
        cast(per_episode.toxicity_contacts as integer) as toxicity_contacts,
        cast(per_episode.expected_effect_contacts as integer) as expected_effect_contacts,
        coalesce(per_episode.removals_for_symptoms, 0) as removals_for_symptoms,
        cast(per_episode.large_leakage_contacts as integer) as large_leakage_contacts,
        cast(per_episode.exposed_contacts as integer) as exposed_contacts,
        cast(per_episode.redness_contacts as integer) as redness_contacts,
        cast(per_episode.falls as integer) as falls,
        per_episode.worst_pain_after_first_night,
        cast(per_episode.opioid_doses as integer) as opioid_doses,
        per_episode.last_opioid_report_h >= episode_dwell.dwell_h - 24
        and per_episode.calls_without_opioid_report = 0 as is_opioid_report_full,
        case
            when episode_dwell.last_home_day >= episode_dwell.first_home_day
                then episode_dwell.last_home_day - episode_dwell.first_home_day + 1
            when episode_dwell.last_home_day < episode_dwell.first_home_day then 0
        end as home_days,
        cast(followed_up.lasting_symptom_contacts as integer) as lasting_symptom_contacts,
        case
            when logged.site is not null and episode_dwell.home_catheter_days is not null
                then coalesce(bit_count(per_episode.home_days_reached), 0)
        end as home_days_reached
    from episode_dwell
    left join per_episode on episode_dwell.episode_id = per_episode.episode_id
    left join followed_up on episode_dwell.episode_id = followed_up.episode_id
    left join logged
        on
            episode_dwell.site = logged.site
            and episode_dwell.placed_month = logged.placed_month
)

select * from final;

comment on view contact_summary is 'One row an episode: what its contacts found. A count is null where no contact could have told.';
comment on column contact_summary.episode_id is 'Opaque key of the episode.';
comment on column contact_summary.has_contact_log is 'The site sent at least one contact for the month of placement; where false, no call is not known to be none.';
comment on column contact_summary.contacts is 'Contacts of the course, reached or not.';
comment on column contact_summary.contacts_reached is 'Contacts that reached the other side.';
comment on column contact_summary.planned_contacts is 'Contacts that the service started.';
comment on column contact_summary.planned_contacts_reached is 'Those of them that reached the family.';
comment on column contact_summary.is_out_before_first_contact is 'Removed, for a recorded reason, before any contact was tried; without any contact, within 24 h.';
comment on column contact_summary.family_calls is 'Contacts that the family started.';
comment on column contact_summary.night_calls is 'Contacts that the family started from 22:00 to 06:00; null where there were calls and placed_hour is not known.';
comment on column contact_summary.timed_calls is 'Contacts that the family started of which it is known whether and when they were answered.';
comment on column contact_summary.toxicity_contacts is 'Contacts with any symptom of possible systemic toxicity.';
comment on column contact_summary.expected_effect_contacts is 'Contacts with a hoarse voice or a drooping lid.';
comment on column contact_summary.removals_for_symptoms is 'Contacts with such a symptom that led to the removal.';
comment on column contact_summary.large_leakage_contacts is 'Contacts with large leakage.';
comment on column contact_summary.exposed_contacts is 'Contacts with the skin entry uncovered or soiled.';
comment on column contact_summary.redness_contacts is 'Contacts with redness or swelling at the skin entry.';
comment on column contact_summary.falls is 'Contacts that report a fall.';
comment on column contact_summary.worst_pain_after_first_night is 'Highest pain score given after the first night.';
comment on column contact_summary.opioid_doses is 'Opioid doses reported.';
comment on column contact_summary.is_opioid_report_full is 'Every planned call that reached the family asked for opioid doses, and the last report is no earlier than 24 h before the end.';
comment on column contact_summary.lasting_symptom_contacts is 'Follow-up contacts with numbness, weakness or pain beyond the time that was expected; null where none asked.';
comment on column contact_summary.home_days is 'Catheter-days at home; null where going home or the dwell is not known.';
comment on column contact_summary.home_days_reached is 'Catheter-days at home with a contact that reached the family.';
