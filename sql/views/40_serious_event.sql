-- One row a serious event: those recorded, and those that other records tell of. The
-- latter are listed once an episode and kind, and not where an event was recorded for them.
create or replace view serious_event as
with recorded as (
    select
        event_id as event_key,
        episode_id,
        at_h,
        kind,
        'event' as source,
        coalesce(reviewed, false) as is_reviewed,
        reviewed_month
    from event
),

told as (
    select distinct
        contact_symptom.contact_id as event_key,
        contact_symptom.episode_id,
        contact_symptom.at_h,
        'emergency_symptom' as kind,
        'contact' as source
    from contact_symptom
    inner join symptom_tier on contact_symptom.symptom = symptom_tier.symptom
    where symptom_tier.tier = 'emergency'
    union all
    select contact_id, episode_id, at_h, 'lasting_nerve_symptom', 'contact'
    from contact_finding
    where is_follow_up and has_lasting_symptom
    union all
    select visit_id, episode_id, at_h, 'readmission', 'visit'
    from visit
    where kind = 'readmission' and relation in ('catheter', 'pain', 'uncertain')
    union all
    select cast(episode_id as varchar), episode_id, dwell_h, 'retained_fragment', 'removal'
    from episode_dwell
    where removal_difficulty = 'retained_fragment'
),

covered as (
    select distinct
        episode_id,
        case kind when 'toxicity_treated' then 'emergency_symptom' else kind end as kind
    from recorded
),

first_told as (
    select
        told.*,
        row_number() over (
            partition by told.episode_id, told.kind order by told.at_h, told.event_key
        ) as place
    from told
    left join covered on told.episode_id = covered.episode_id and told.kind = covered.kind
    where covered.kind is null
),

every_event as (
    select * from recorded
    union all
    select event_key, episode_id, at_h, kind, source, false as is_reviewed, null as reviewed_month
    from first_told
    where place = 1
),

final as (
    select
        every_event.event_key,
        every_event.episode_id,
        episode_dwell.site,
        episode_dwell.site_label,
        episode_dwell.placed_month,
        episode_dwell.placed_quarter,
        every_event.at_h,
        every_event.kind,
        every_event.source,
        every_event.is_reviewed,
        every_event.reviewed_month
    from every_event
    inner join episode_dwell on every_event.episode_id = episode_dwell.episode_id
)

select * from final;

comment on view serious_event is 'One row a serious event: those recorded, and those that contacts, visits and removals tell of where none was recorded.';
comment on column serious_event.event_key is 'Opaque key of the event, or of the record that tells of it.';
comment on column serious_event.episode_id is 'Opaque key of the episode.';
comment on column serious_event.site is 'Code of the site.';
comment on column serious_event.site_label is 'What the report prints for the site.';
comment on column serious_event.placed_month is 'Calendar month of placement, YYYY-MM.';
comment on column serious_event.placed_quarter is 'Calendar quarter of placement, YYYY-Qn.';
comment on column serious_event.at_h is 'When it happened, hours since placement.';
comment on column serious_event.kind is 'Kind of event.';
comment on column serious_event.source is 'What tells of it: event, contact, visit or removal.';
comment on column serious_event.is_reviewed is 'The service has reviewed it; one that was not recorded as an event was not reviewed.';
comment on column serious_event.reviewed_month is 'Month in which it was reviewed.';
