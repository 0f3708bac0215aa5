-- purpose: events of a kind begin and never end
-- grain:   one row per account and family of codes with a beginning
-- reads:   habits, accounts, family_facts, limits
-- params:  $as_of timestamp [UTC]
-- returns: the row contract of a check; measured and limit [events]
-- Alarms, supervisory, tamper and bypass: each beginning is an event. Troubles
-- and power: evenly spaced repeats are reminders of one loss, so they count
-- only where their spacing is irregular. Others must restore in this log.
with
judged as (
    select
        h.*,
        a.sends_restores,
        f.n_accounts_restoring,
        e.value as least,
        d.value as days,
        h.code_group like 'alarm_%'
        or h.code_group in ('supervisory', 'tamper', 'bypass') as is_event,
        coalesce(h.again_sd_s, 0) >= 0.1 * coalesce(h.again_mean_s, 1)
        and h.n_began_again > 1 as is_irregular
    from habits as h
    inner join accounts as a on h.account_key = a.account_key
    inner join limits as e
        on h.account_key = e.account_key and e.name = 'events'
    inner join limits as d
        on h.account_key = d.account_key and d.name = 'days'
    left join family_facts as f on h.family = f.family
    where
        a.monitored
        and h.n_began > 0
        and h.code_group in (
            'alarm_fire', 'alarm_medical', 'alarm_holdup', 'alarm_burglary',
            'alarm_other', 'supervisory', 'tamper', 'bypass', 'power',
            'trouble', 'supervision'
        )
)
select
    account_key,
    'code=' || family as subject,
    case
        when n_restored > 0 then 'sound'
        when sends_restores = 'no' then 'not_judged'
        when n_began < least or days_began < days then 'not_judged'
        when coalesce(n_accounts_restoring, 0) = 0 then 'not_judged'
        when is_event or is_irregular then 'finding'
        else 'not_judged'
    end as verdict,
    case
        when n_restored > 0 then ''
        when sends_restores = 'no' then 'roster says it sends no restores'
        when n_began < least or days_began < days then 'too few events'
        when coalesce(n_accounts_restoring, 0) = 0
            then 'nobody restores this code in the log'
        when is_event or is_irregular then ''
        else 'may be reminders of one condition'
    end as reason,
    cast(n_began as double) as measured,
    least as limit_value,
    'events' as unit,
    first_began_utc as since_utc,
    last_began_utc as until_utc,
    first_began_utc as evidence_from_utc,
    $as_of as evidence_until_utc,
    last_restored_utc as last_good_utc,
    n_began as evidence_count,
    0 as excused_count,
    case when n_began >= 3 * least then 3 else 2 end as grade,
    n_restored as k,
    n_began as n
from judged
