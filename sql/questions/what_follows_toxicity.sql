-- title: What was done after symptoms of possible toxicity?
-- read:  By tier of the contact, what was done at it and the hours to removal, of catheters in
--        place then. Emergency symptoms after which nothing was done deserve a look at the
--        record. Shortness of breath with a block above the collarbone stands apart.
select
    tier,
    is_breathless_above_collarbone as breathless_above_collarbone,
    count(*) as contacts,
    count(case when clamped or outcome = 'clamp_closed' then 1 end) as clamped,
    count(case when outcome = 'catheter_removed' then 1 end) as removed,
    count(case when restarted then 1 end) as restarted,
    count(case when seen then 1 end) as seen,
    round(median(hours_to_removal), 1) as median_hours_to_removal,
    count(case when reason = 'completed' then 1 end) as course_completed
from contact_tier
where tier <> 'none'
group by tier, is_breathless_above_collarbone
order by tier, is_breathless_above_collarbone
