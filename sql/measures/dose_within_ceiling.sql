-- measure:     dose_within_ceiling
-- title:       Infusion dose within the local ceiling
-- kind:        process
-- numerator:   catheters whose infusion, in mg/kg/h, is at or under the local ceiling for the age
-- denominator: catheters with drug, concentration, rate, weight and age
-- leaves_out:  catheters without one of these, and lidocaine, for which the ceilings are not made
-- unit:        per 100 catheters
-- better:      higher
-- target:      none
-- chart:       p
-- follow_up_h: 0
-- reads:       episode_dwell, dose_ceiling
-- case_mix:    age_years, limb, nerve_target, planned_dwell_h
with aged as (
    select
        episode_dwell.episode_id,
        episode_dwell.dose_mg_kg_h,
        episode_dwell.drug,
        min(dose_ceiling.below_age_years) as below_age_years
    from episode_dwell
    left join dose_ceiling on episode_dwell.age_years < dose_ceiling.below_age_years
    group by episode_dwell.episode_id, episode_dwell.dose_mg_kg_h, episode_dwell.drug
),

final as (
    select
        aged.episode_id,
        case
            when aged.drug not in ('ropivacaine', 'bupivacaine', 'levobupivacaine') then null
            when aged.drug is null then null
            -- A dose at the ceiling is within it, whatever its last binary digit.
            when aged.dose_mg_kg_h <= dose_ceiling.mg_kg_h + 0.000001 then 1
            when aged.dose_mg_kg_h > dose_ceiling.mg_kg_h + 0.000001 then 0
        end as numerator,
        case
            when aged.drug not in ('ropivacaine', 'bupivacaine', 'levobupivacaine') then 0
            else 1
        end as denominator
    from aged
    left join dose_ceiling on aged.below_age_years = dose_ceiling.below_age_years
)

select * from final
