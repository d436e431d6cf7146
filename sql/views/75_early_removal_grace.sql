-- One row a site, quarter of placement and hours of grace: catheters removed early, counted with more and with less patience.
create or replace view early_removal_grace as
with grace as (
    select unnest([0, 6, 12]) as grace_h
),

final as (
    select
        episode_dwell.site,
        episode_dwell.placed_quarter,
        grace.grace_h,
        count(
            case
                when episode_dwell.is_removed
                    and episode_dwell.reason <> 'completed'
                    and episode_dwell.dwell_h < episode_dwell.planned_dwell_h - grace.grace_h
                    then 1
            end
        ) as removed_early,
        count(*) as catheters
    from episode_dwell
    cross join grace
    where episode_dwell.is_early is not null
    group by episode_dwell.site, episode_dwell.placed_quarter, grace.grace_h
)

select * from final;

comment on view early_removal_grace is 'One row a site, quarter of placement and hours of grace: catheters removed early, counted with more and with less patience.';
comment on column early_removal_grace.site is 'Code of the site.';
comment on column early_removal_grace.placed_quarter is 'Calendar quarter of placement, YYYY-Qn.';
comment on column early_removal_grace.grace_h is 'Hours before the planned end from which a removal is no longer early: 0, 6 or 12; the measure early_removal has 6.';
comment on column early_removal_grace.removed_early is 'Catheters removed for a reason other than completed before that hour.';
comment on column early_removal_grace.catheters is 'Catheters of which the measure early_removal is known.';
