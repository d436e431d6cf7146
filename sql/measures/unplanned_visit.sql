-- measure:     unplanned_visit
-- title:       Unplanned visits within 7 days
-- kind:        outcome
-- numerator:   catheters with any unplanned visit for the catheter or for pain within 168 h of placement
-- denominator: catheters followed for 7 days
-- leaves_out:  catheters not followed for 168 h; visits for surgery, unrelated or uncertain are not counted
-- unit:        per 100 catheters
-- better:      lower
-- target:      none
-- chart:       p
-- follow_up_h: 168
-- reads:       episode_dwell, visit
-- case_mix:    age_years, limb, nerve_target, planned_dwell_h
with related as (
    select distinct episode_id
    from visit
    where relation in ('catheter', 'pain') and at_h <= 168
),

final as (
    select
        episode_dwell.episode_id,
        -- A visit of a child not followed for the week is left out with the child:
        -- counting those with a visit and dropping those without would inflate the rate.
        case
            when episode_dwell.followed_until_h < 168 then null
            when episode_dwell.followed_until_h is null then null
            when related.episode_id is not null then 1
            else 0
        end as numerator,
        1 as denominator
    from episode_dwell
    left join related on episode_dwell.episode_id = related.episode_id
)

select * from final
