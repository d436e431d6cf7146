-- One row an episode that was followed up after the block, whatever came of it.
create or replace view followed_up as
with final as (
    select distinct episode_id
    from contact
    where contact_kind = 'follow_up'
)

select * from final;

comment on view followed_up is 'One row an episode that was followed up after the block, whatever came of it.';
comment on column followed_up.episode_id is 'Opaque key of the episode.';
