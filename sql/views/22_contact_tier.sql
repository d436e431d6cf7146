-- One row a contact and symptom of possible systemic toxicity that it told of.
create or replace view contact_symptom as
with final as (
    select contact_id, episode_id, at_h, 'breathing_difficulty' as symptom
    from contact
    where reached and breathing_difficulty
    union all
    select contact_id, episode_id, at_h, 'unresponsive' as symptom
    from contact
    where reached and unresponsive
    union all
    select contact_id, episode_id, at_h, 'seizure' as symptom
    from contact
    where reached and seizure
    union all
    select contact_id, episode_id, at_h, 'drowsy' as symptom
    from contact
    where reached and drowsy
    union all
    select contact_id, episode_id, at_h, 'twitching' as symptom
    from contact
    where reached and twitching
    union all
    select contact_id, episode_id, at_h, 'perioral_numbness' as symptom
    from contact
    where reached and perioral_numbness
    union all
    select contact_id, episode_id, at_h, 'metallic_taste' as symptom
    from contact
    where reached and metallic_taste
    union all
    select contact_id, episode_id, at_h, 'tinnitus' as symptom
    from contact
    where reached and tinnitus
    union all
    select contact_id, episode_id, at_h, 'dizziness' as symptom
    from contact
    where reached and dizziness
    union all
    select contact_id, episode_id, at_h, 'visual_change' as symptom
    from contact
    where reached and visual_change
    union all
    select contact_id, episode_id, at_h, 'slurred_speech' as symptom
    from contact
    where reached and slurred_speech
    union all
    select contact_id, episode_id, at_h, 'agitation' as symptom
    from contact
    where reached and agitation
    union all
    select contact_id, episode_id, at_h, 'palpitations' as symptom
    from contact
    where reached and palpitations
)

select * from final;

comment on view contact_symptom is 'One row a contact and symptom of possible systemic toxicity that it told of.';
comment on column contact_symptom.contact_id is 'Opaque key of the contact.';
comment on column contact_symptom.episode_id is 'Episode that the contact is about.';
comment on column contact_symptom.at_h is 'When it took place, hours since placement.';
comment on column contact_symptom.symptom is 'Symptom, as its column of the contact record is called.';

-- One row a contact that asked for symptoms: its highest tier, and what followed.
create or replace view contact_tier as
with highest as (
    select
        contact_symptom.contact_id,
        min(case symptom_tier.tier when 'emergency' then 1 when 'same_hour' then 2 else 3 end)
            as tier_order
    from contact_symptom
    inner join symptom_tier on contact_symptom.symptom = symptom_tier.symptom
    group by contact_symptom.contact_id
),

final as (
    select
        contact_finding.contact_id,
        contact_finding.episode_id,
        contact_finding.site,
        contact_finding.placed_month,
        contact_finding.at_h,
        case highest.tier_order
            when 1 then 'emergency'
            when 2 then 'same_hour'
            when 3 then 'next_call'
            else 'none'
        end as tier,
        contact_finding.has_toxicity_symptom,
        contact_finding.is_breathless_above_collarbone,
        contact_finding.outcome,
        contact_finding.clamped,
        contact_finding.restarted,
        contact_finding.seen,
        case
            when episode_dwell.is_removed and episode_dwell.dwell_h >= contact_finding.at_h
                then episode_dwell.dwell_h - contact_finding.at_h
        end as hours_to_removal,
        episode_dwell.reason
    from contact_finding
    inner join episode_dwell on contact_finding.episode_id = episode_dwell.episode_id
    left join highest on contact_finding.contact_id = highest.contact_id
    where contact_finding.has_toxicity_symptom is not null
)

select * from final;

comment on view contact_tier is 'One row a contact that asked for symptoms of possible systemic toxicity: the highest tier told of, and what followed.';
comment on column contact_tier.contact_id is 'Opaque key of the contact.';
comment on column contact_tier.episode_id is 'Episode that the contact is about.';
comment on column contact_tier.site is 'Code of the site.';
comment on column contact_tier.placed_month is 'Calendar month of placement, YYYY-MM.';
comment on column contact_tier.at_h is 'When it took place, hours since placement.';
comment on column contact_tier.tier is 'Highest tier of the symptoms told of: emergency, same_hour, next_call or none; tiers are a setting.';
comment on column contact_tier.has_toxicity_symptom is 'Any symptom of possible systemic toxicity, but for shortness of breath alone with a block above the collarbone; null where none was asked.';
comment on column contact_tier.is_breathless_above_collarbone is 'Shortness of breath with a block above the collarbone: an expected effect, and an emergency all the same.';
comment on column contact_tier.outcome is 'What the contact led to.';
comment on column contact_tier.clamped is 'The clamp was closed.';
comment on column contact_tier.restarted is 'The infusion was started again after it had been stopped.';
comment on column contact_tier.seen is 'A clinician saw the child.';
comment on column contact_tier.hours_to_removal is 'Hours from the contact to the removal; null where that was earlier or is not known.';
comment on column contact_tier.reason is 'Reason of removal.';
