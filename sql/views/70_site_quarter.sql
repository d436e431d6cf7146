-- One row a site and quarter of placement: how much there was, and how it ended.
create or replace view site_quarter as
with final as (
    select
        episode_dwell.site,
        episode_dwell.site_label,
        episode_dwell.placed_quarter,
        count(*) as catheters,
        count(distinct episode_dwell.child_key) as children,
        round(cast(coalesce(sum(cast(episode_dwell.catheter_days as decimal(18, 12))), 0) as double), 6)
            as catheter_days,
        count(case when episode_dwell.is_dwell_known then 1 end) as dwell_known,
        count(case when episode_dwell.is_removed then 1 end) as removed,
        count(case when episode_dwell.reason = 'completed' then 1 end) as completed,
        count(case when episode_dwell.reason = 'dislodged' then 1 end) as dislodged,
        count(case when episode_dwell.reason = 'not_recorded' then 1 end) as reason_not_recorded,
        count(case when episode_dwell.is_early then 1 end) as removed_early,
        cast(sum(contact_summary.contacts) as bigint) as contacts,
        cast(sum(contact_summary.contacts_reached) as bigint) as contacts_reached,
        cast(sum(contact_summary.family_calls) as bigint) as family_calls
    from episode_dwell
    inner join contact_summary on episode_dwell.episode_id = contact_summary.episode_id
    group by episode_dwell.site, episode_dwell.site_label, episode_dwell.placed_quarter
)

select * from final;

comment on view site_quarter is 'One row a site and quarter of placement: how much there was, and how it ended.';
comment on column site_quarter.site is 'Code of the site.';
comment on column site_quarter.site_label is 'What the report prints for the site.';
comment on column site_quarter.placed_quarter is 'Calendar quarter of placement, YYYY-Qn.';
comment on column site_quarter.catheters is 'Episodes: one catheter each.';
comment on column site_quarter.children is 'Children; an episode without patient_key counts as one child.';
comment on column site_quarter.catheter_days is 'Days in place of the catheters of known dwell.';
comment on column site_quarter.dwell_known is 'Catheters of known dwell.';
comment on column site_quarter.removed is 'Catheters with a known removal.';
comment on column site_quarter.completed is 'Catheters removed because the planned course was over.';
comment on column site_quarter.dislodged is 'Dislodged catheters: they came out or were pulled out.';
comment on column site_quarter.reason_not_recorded is 'Catheters removed without a recorded reason.';
comment on column site_quarter.removed_early is 'Catheters removed for a reason other than completed, more than 6 h before the planned end.';
comment on column site_quarter.contacts is 'Contacts, reached or not.';
comment on column site_quarter.contacts_reached is 'Contacts that reached the other side.';
comment on column site_quarter.family_calls is 'Contacts that the family started; null where no contacts were sent.';
