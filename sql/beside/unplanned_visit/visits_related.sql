-- measure:     visits_related
-- title:       Related visits alone
-- kind:        outcome
-- numerator:   catheters with any unplanned visit for the catheter or for pain from placement to 72 h after removal
-- denominator: catheters removed and followed for 72 h after removal
-- leaves_out:  catheters with no known removal, or not followed for 72 h after it
-- unit:        per 100 catheters
-- better:      lower
-- target:      none
-- chart:       p
-- follow_up_h: 240
-- reads:       episode_dwell, visit
-- case_mix:    age_years, limb, nerve_target, planned_dwell_h
-- place:       0
-- safety:      no
-- told_by:     records
with counted as (
    select distinct visit.episode_id
    from visit
    inner join episode_dwell on visit.episode_id = episode_dwell.episode_id
    where
        visit.relation in ('catheter', 'pain')
        and visit.at_h <= episode_dwell.dwell_h + 72
),

final as (
    select
        episode_dwell.episode_id,
        -- A visit of a child not followed for so long is left out with the child:
        -- counting those with a visit and dropping those without would inflate the rate.
        case
            when episode_dwell.followed_until_h is null then null
            when episode_dwell.followed_until_h < episode_dwell.dwell_h + 72 then null
            when not episode_dwell.is_removed then null
            when counted.episode_id is not null then 1
            else 0
        end as numerator,
        1 as denominator
    from episode_dwell
    left join counted on episode_dwell.episode_id = counted.episode_id
)

select * from final
