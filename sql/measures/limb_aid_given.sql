-- measure:     limb_aid_given
-- title:       Sling, brace or crutches given
-- kind:        process
-- numerator:   arm and leg catheters whose child was given a sling, brace or crutches for the limb
-- denominator: arm and leg catheters
-- leaves_out:  catheters of the trunk or of an unknown limb, and those of which it is not recorded
-- unit:        per 100 catheters
-- better:      higher
-- target:      none
-- chart:       p
-- follow_up_h: 0
-- reads:       episode_dwell
-- case_mix:    age_years, limb, nerve_target, planned_dwell_h
-- place:       25
-- safety:      no
-- told_by:     records
with final as (
    select
        episode_id,
        case
            when limb is null or limb = 'trunk' then null
            when limb_aid_given then 1
            when not limb_aid_given then 0
        end as numerator,
        case when limb in ('upper', 'lower') then 1 else 0 end as denominator
    from episode_dwell
)

select * from final
