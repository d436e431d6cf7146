-- title: Do tunnelled or glued catheters come out less?
-- read:  Crude: those who tunnel or glue may choose other children. `dwell removal` models adjust
--        for age, limb and nerve.
select
    tunnelled,
    skin_glue,
    count(*) as catheters,
    count(case when reason = 'dislodged' then 1 end) as dislodged,
    round(100.0 * count(case when reason = 'dislodged' then 1 end) / count(*), 1)
        as dislodged_per_100
from episode_dwell
where reason <> 'not_recorded'
group by tunnelled, skin_glue
order by tunnelled, skin_glue
