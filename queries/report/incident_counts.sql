-- purpose: how many accounts stand behind an incident and what it excuses
-- grain:   one row per incident
-- reads:   kept_excuses, kept_slots, kept_shared_losses
-- params:  none
-- returns: n_accounts [accounts], n_excused [due tests, and losses that began
--          inside it]
with
behind as (
    select incident_id, count(distinct account_key) as n_accounts
    from kept_excuses
    where incident_id <> ''
    group by incident_id
),
pieces as (
    select incident_id, count(*) as n
    from kept_slots
    where state = 'excused' and incident_id <> ''
    group by incident_id
    union all
    select incident_id, count(*) as n
    from kept_shared_losses
    group by incident_id
),
excused as (
    select incident_id, sum(n) as n_excused
    from pieces
    group by incident_id
)
select
    b.incident_id,
    b.n_accounts,
    cast(coalesce(e.n_excused, 0) as bigint) as n_excused
from behind as b
left join excused as e on b.incident_id = e.incident_id
order by b.incident_id
