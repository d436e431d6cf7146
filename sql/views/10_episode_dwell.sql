-- One row an episode: time in place, how it ended, and what episodes are grouped by.
create or replace view episode_dwell as
with known as (
    -- What is known of the removal: an exact time, an interval, or the last time seen in place.
    select
        episode.*,
        case
            when removed_h is not null then 'exact'
            when removed_before_h is not null then 'interval'
            when removed_after_h is not null or last_known_in_place_h is not null then 'last_known'
            else 'unknown'
        end as dwell_basis,
        -- A child goes home with the catheter in place, so going home is the earliest
        -- that a removal of which only the discovery is known can have been.
        case
            when removed_before_h is not null then least(
                removed_before_h,
                coalesce(removed_after_h, last_known_in_place_h, discharged_h, 0)
            )
            else greatest(
                coalesce(removed_after_h, last_known_in_place_h),
                coalesce(last_known_in_place_h, removed_after_h)
            )
        end as last_seen_h
    from episode
),

timed as (
    select
        *,
        case
            when dwell_basis = 'exact' then removed_h
            when dwell_basis = 'interval' then (last_seen_h + removed_before_h) / 2
            when dwell_basis = 'last_known' then last_seen_h
        end as dwell_h,
        case when dwell_basis = 'exact' then removed_h else last_seen_h end as left_h,
        case
            when dwell_basis = 'exact' then removed_h
            when dwell_basis = 'interval' then removed_before_h
        end as right_h,
        dwell_basis in ('exact', 'interval') as is_removed,
        case
            when removal_reason is not null then removal_reason
            when dwell_basis in ('exact', 'interval') then 'not_recorded'
        end as reason
    from known
),

ended as (
    select
        *,
        case
            when reason = 'completed' then false
            when reason is null or reason = 'not_recorded' then null
            when dwell_h >= planned_dwell_h - 6 then false
            when is_removed then true
        end as is_early,
        case
            when not is_removed then null
            when removed_by = 'clinician' then false
            when discharged_h is not null then dwell_h >= discharged_h
            when removed_by = 'family' then true
        end as is_removed_at_home,
        case
            when dwell_basis = 'exact'
                then placed_hour + removed_h - 24 * floor((placed_hour + removed_h) / 24)
        end as removal_clock_hour,
        -- Days of 24 h since placement; the first and the last at home count where at
        -- least half of them, 12 h, were spent at home with the catheter in place.
        cast(floor(discharged_h / 24) as integer) + 1 as going_home_day,
        cast(ceil(dwell_h / 24) as integer) as ending_day
    from timed
),

final as (
    select
        ended.episode_id,
        ended.patient_key,
        coalesce(ended.patient_key, ended.episode_id) as child_key,
        ended.site,
        coalesce(site.label, ended.site) as site_label,
        ended.placed_month,
        substr(ended.placed_month, 1, 4)
        || case
            when substr(ended.placed_month, 6, 2) <= '03' then '-Q1'
            when substr(ended.placed_month, 6, 2) <= '06' then '-Q2'
            when substr(ended.placed_month, 6, 2) <= '09' then '-Q3'
            else '-Q4'
        end as placed_quarter,
        ended.month_order,
        ended.placed_hour,
        ended.age_years,
        case
            when ended.age_years <= 2 then '00-02'
            when ended.age_years <= 5 then '03-05'
            when ended.age_years <= 11 then '06-11'
            when ended.age_years <= 17 then '12-17'
            when ended.age_years <= 21 then '18-21'
        end as age_band,
        ended.weight_kg,
        ended.interpreter_needed,
        ended.surgeon_type,
        ended.nerve_target,
        case
            when ended.nerve_target in (
                'interscalene', 'supraclavicular', 'infraclavicular', 'axillary'
            ) then 'upper'
            when ended.nerve_target in (
                'femoral', 'adductor_canal', 'fascia_iliaca', 'sciatic_subgluteal',
                'sciatic_popliteal', 'lumbar_plexus'
            ) then 'lower'
            when ended.nerve_target = 'trunk_wall' then 'trunk'
        end as limb,
        ended.placed_by,
        ended.tunnelled,
        ended.skin_glue,
        ended.drug,
        ended.concentration_pct,
        ended.rate_ml_h,
        ended.reservoir_ml,
        ended.bolus_mg,
        -- A bolus is spread over the first 24 h (common practice, no source).
        (ended.concentration_pct * 10 * ended.rate_ml_h + coalesce(ended.bolus_mg, 0) / 24)
        / ended.weight_kg as dose_mg_kg_h,
        coalesce(ended.operation_key, ended.episode_id) as operation,
        case when ended.rate_ml_h > 0 then ended.reservoir_ml / ended.rate_ml_h end as runtime_h,
        ended.planned_dwell_h,
        case
            when ended.planned_dwell_h <= 48 then 'up to 48 h'
            when ended.planned_dwell_h <= 72 then 'up to 72 h'
            else 'over 72 h'
        end as planned_course,
        ended.pump_problem,
        ended.limb_aid_given,
        ended.discharged_h,
        ended.dwell_basis,
        ended.dwell_basis <> 'unknown' as is_dwell_known,
        ended.dwell_h,
        ended.left_h,
        ended.right_h,
        ended.is_removed,
        ended.reason,
        ended.is_early,
        ended.is_removed_at_home,
        ended.removal_clock_hour,
        ended.removal_time_source,
        ended.removed_by,
        ended.removal_difficulty,
        ended.rebound_pain_score,
        ended.satisfaction_score,
        ended.followed_until_h,
        -- The first night ends at the first 06:00 after placement.
        case
            when ended.placed_hour is null then 24
            when ended.placed_hour < 6 then 6 - ended.placed_hour
            else 30 - ended.placed_hour
        end as first_night_end_h,
        ended.dwell_h / 24 as catheter_days,
        case
            when ended.dwell_h >= ended.discharged_h then (ended.dwell_h - ended.discharged_h) / 24
            when ended.dwell_h < ended.discharged_h then 0
        end as home_catheter_days,
        case
            when
                least(24 * ended.going_home_day, ended.dwell_h) - ended.discharged_h >= 12
                then ended.going_home_day
            else ended.going_home_day + 1
        end as first_home_day,
        -- No further than the 15th day: a removal later than 14 days is set aside at loading.
        least(
            15,
            case
                when
                    ended.dwell_h - greatest(24 * (ended.ending_day - 1), ended.discharged_h) >= 12
                    then ended.ending_day
                else ended.ending_day - 1
            end
        ) as last_home_day
    from ended
    left join site on ended.site = site.site
)

select * from final;

comment on view episode_dwell is 'One row an episode: time in place, how it ended, and what episodes are grouped by.';
comment on column episode_dwell.episode_id is 'Opaque key of the episode.';
comment on column episode_dwell.patient_key is 'Opaque key that links repeat catheters of one child.';
comment on column episode_dwell.child_key is 'patient_key, or episode_id where there is none: what is counted when children are counted.';
comment on column episode_dwell.site is 'Code of the site.';
comment on column episode_dwell.site_label is 'What the report prints for the site; its code where the site is not described.';
comment on column episode_dwell.placed_month is 'Calendar month of placement, YYYY-MM. An episode counts in this month.';
comment on column episode_dwell.placed_quarter is 'Calendar quarter of placement, YYYY-Qn.';
comment on column episode_dwell.month_order is 'Order of placement within the month at the site.';
comment on column episode_dwell.placed_hour is 'Clock hour of placement, 0 to 23.';
comment on column episode_dwell.age_years is 'Age in whole years.';
comment on column episode_dwell.age_band is 'Age band in years: 00-02, 03-05, 06-11, 12-17 or 18-21.';
comment on column episode_dwell.weight_kg is 'Body weight in kg.';
comment on column episode_dwell.interpreter_needed is 'The family needs an interpreter for telephone calls.';
comment on column episode_dwell.surgeon_type is 'Kind of surgery.';
comment on column episode_dwell.nerve_target is 'Nerve, plexus or plane beside which the catheter lies.';
comment on column episode_dwell.limb is 'Limb of the nerve target: upper, lower or trunk; null for other targets.';
comment on column episode_dwell.placed_by is 'Who placed the catheter.';
comment on column episode_dwell.tunnelled is 'The catheter was tunnelled under the skin.';
comment on column episode_dwell.skin_glue is 'The skin entry was sealed with tissue glue.';
comment on column episode_dwell.drug is 'Local anaesthetic in the pump.';
comment on column episode_dwell.concentration_pct is 'Concentration of the local anaesthetic, g per 100 ml.';
comment on column episode_dwell.rate_ml_h is 'Flow rate of the pump, ml/h.';
comment on column episode_dwell.reservoir_ml is 'Filled volume of the pump, ml.';
comment on column episode_dwell.bolus_mg is 'Local anaesthetic given at placement, mg.';
comment on column episode_dwell.dose_mg_kg_h is 'Dose of this catheter: concentration times rate, and the bolus over 24 h, by weight, mg/kg/h. A bolus not recorded counts as none.';
comment on column episode_dwell.operation is 'Opaque key that catheters in place at the same time in one child share.';
comment on column episode_dwell.runtime_h is 'Expected run-time of the pump: filled volume by rate, hours.';
comment on column episode_dwell.planned_dwell_h is 'Planned time in place, hours.';
comment on column episode_dwell.planned_course is 'Planned time in place: up to 48 h, up to 72 h or over 72 h.';
comment on column episode_dwell.pump_problem is 'What went wrong with the pump.';
comment on column episode_dwell.limb_aid_given is 'A sling, brace or crutches were given for the limb.';
comment on column episode_dwell.discharged_h is 'When the child went home, hours since placement.';
comment on column episode_dwell.dwell_basis is 'What dwell_h rests on: exact removal time, interval (midpoint), last_known (still in place then), or unknown.';
comment on column episode_dwell.is_dwell_known is 'dwell_h is known; where false the episode is counted as missing and not analysed.';
comment on column episode_dwell.dwell_h is 'Time in place, hours: to the removal, to the midpoint of its interval, or to the last time known in place.';
comment on column episode_dwell.left_h is 'Last time known in place, hours; equal to right_h where the removal time is exact.';
comment on column episode_dwell.right_h is 'First time known out, hours; null where no removal is known (right-censored).';
comment on column episode_dwell.is_removed is 'A removal is known, by time or interval; where false dwell_h is a censoring time.';
comment on column episode_dwell.reason is 'Reason of removal; not_recorded where removed without a reason; null where no removal is known.';
comment on column episode_dwell.is_early is 'Removed for a reason other than completed, more than 6 h before the planned end; null where the outcome is not known.';
comment on column episode_dwell.is_removed_at_home is 'Removed after going home and not by a clinician; null where that cannot be told.';
comment on column episode_dwell.removal_clock_hour is 'Clock hour of an exact removal, 0 up to 24, to within an hour; null without placed_hour.';
comment on column episode_dwell.removal_time_source is 'Where the removal time comes from.';
comment on column episode_dwell.removed_by is 'Who took the catheter out.';
comment on column episode_dwell.removal_difficulty is 'Trouble while it was taken out.';
comment on column episode_dwell.rebound_pain_score is 'Worst pain in the 24 hours after removal, 0 to 10.';
comment on column episode_dwell.satisfaction_score is 'How satisfied the family was, 0 to 10.';
comment on column episode_dwell.followed_until_h is 'End of follow-up for visits, hours since placement.';
comment on column episode_dwell.first_night_end_h is 'End of the first night, hours since placement: the first 06:00, or 24 h where placed_hour is not known.';
comment on column episode_dwell.catheter_days is 'Days in place from placement: dwell_h / 24.';
comment on column episode_dwell.home_catheter_days is 'Days in place after going home; null where discharged_h is not known.';
comment on column episode_dwell.first_home_day is 'First day of 24 h since placement of which at least 12 h were at home with the catheter in place.';
comment on column episode_dwell.last_home_day is 'Last such day; before first_home_day where there was none.';
