-- measure:     dose_within_ceiling
-- title:       Dose within the local ceiling
-- kind:        process
-- numerator:   catheters whose child's dose is at or under the local ceiling: {dose_ceilings}
-- denominator: catheters with drug, concentration, rate, weight and age, of a drug with a ceiling
-- leaves_out:  catheters without one of these, or in place at the same time as one; a dose is the infusion and the bolus spread over the first 24 h, in mg/kg/h, catheters in place at the same time in one child added up, each as a share of its drug's ceiling; a bolus not recorded counts as none
-- unit:        per 100 catheters
-- better:      higher
-- target:      none
-- chart:       p
-- follow_up_h: 0
-- reads:       episode_dwell, dose_ceiling
-- case_mix:    age_years, limb, nerve_target, planned_dwell_h
-- place:       24
-- safety:      no
-- told_by:     records
with ceilings as (
    select distinct drug from dose_ceiling
),

share as (
    -- Local anaesthetics add up, so each dose is a share of its own drug's ceiling.
    select
        episode_dwell.episode_id,
        episode_dwell.operation,
        case
            when episode_dwell.drug is null then 1
            when ceilings.drug is not null then 1
            else 0
        end as has_ceiling,
        episode_dwell.dose_mg_kg_h / dose_ceiling.mg_kg_h as of_ceiling
    from episode_dwell
    left join ceilings on episode_dwell.drug = ceilings.drug
    left join dose_ceiling
        on
            episode_dwell.drug = dose_ceiling.drug
            and episode_dwell.age_years >= dose_ceiling.from_age_years
            and episode_dwell.age_years < dose_ceiling.below_age_years
),

child as (
    select operation, count(*) as catheters, count(of_ceiling) as known, sum(of_ceiling) as of_ceiling
    from share
    group by operation
),

final as (
    select
        share.episode_id,
        case
            when share.has_ceiling = 0 or child.known < child.catheters then null
            -- A dose at the ceiling is within it, whatever its last binary digit.
            when child.of_ceiling <= 1.000001 then 1
            when child.of_ceiling > 1.000001 then 0
        end as numerator,
        case when exists (select 1 from ceilings) then share.has_ceiling else 0 end as denominator
    from share
    inner join child on share.operation = child.operation
)

select * from final
