-- title: Do symptoms of possible toxicity rise with the dose per kg?
-- read:  Contacts of each tier by band of the dose, bolus included, per 1,000 catheter-days. Symptoms
--        are unspecific and doses are not allotted by chance: a rise is a reason to look at the
--        records, not a finding.
-- set:   band_mg_kg_h number 0.1 -- width of a band, mg/kg/h
with dosed as (
    select
        episode_id,
        catheter_days,
        floor(dose_mg_kg_h / $band_mg_kg_h + 0.000001) * $band_mg_kg_h as dose_from
    from episode_dwell
    where dose_mg_kg_h is not null and catheter_days is not null
),

tiers as (
    select
        episode_id,
        count(case when tier = 'emergency' then 1 end) as emergency,
        count(case when tier = 'same_hour' then 1 end) as same_hour,
        count(case when tier = 'next_call' then 1 end) as next_call
    from contact_tier
    group by episode_id
)

select
    round(dosed.dose_from, 3) as dose_from_mg_kg_h,
    count(*) as catheters,
    round(sum(dosed.catheter_days), 1) as catheter_days,
    sum(tiers.emergency) as emergency,
    sum(tiers.same_hour) as same_hour,
    sum(tiers.next_call) as next_call,
    round(1000.0 * sum(tiers.emergency + tiers.same_hour + tiers.next_call) / sum(dosed.catheter_days), 1)
        as contacts_per_1000_days
from dosed
inner join tiers on dosed.episode_id = tiers.episode_id
group by dosed.dose_from
order by dosed.dose_from
