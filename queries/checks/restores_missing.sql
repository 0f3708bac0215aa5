-- purpose: events of a kind begin and never end
-- grain:   one row per account and family of codes with a beginning
-- reads:   habits, excuses, accounts, family_facts, limits
-- params:  $as_of timestamp [UTC]
-- returns: the row contract of a check; measured and limit [events]
-- Alarms and bypass: each beginning is an event. Of all others, evenly spaced
-- repeats are reminders of one condition, so they count only where a zone began
-- again at irregular steps. Others must restore in this log. Buttons (hold-up,
-- medical) have no end of their own and are not looked at.
with
lacking as (
    select
        h.account_key,
        h.family,
        sum(
            epoch(least(x.until_utc, $as_of))
            - epoch(greatest(x.from_utc, h.first_began_utc))
        ) as lacking_s,
        count(distinct x.incident_id) as n_holes
    from habits as h
    inner join excuses as x on h.account_key = x.account_key
    where
        x.path = ''
        and x.why <> 'on_test'
        and x.until_utc > h.first_began_utc
        and x.from_utc < $as_of
    group by h.account_key, h.family
),
judged as (
    select
        h.*,
        a.sends_restores,
        f.n_accounts_restoring,
        e.value as least,
        d.value as days,
        coalesce(x.n_holes, 0) as n_holes,
        coalesce(x.lacking_s, 0) * 100
        > p.value * (epoch($as_of) - epoch(h.first_began_utc)) as is_lacking,
        h.code_group like 'alarm_%' or h.code_group = 'bypass' as is_event,
        coalesce(h.again_sd_s, 0) >= 0.1 * coalesce(h.again_mean_s, 1)
        and h.n_began_again > 1 as is_irregular
    from habits as h
    inner join accounts as a on h.account_key = a.account_key
    inner join limits as e
        on h.account_key = e.account_key and e.name = 'events'
    inner join limits as d
        on h.account_key = d.account_key and d.name = 'days'
    inner join limits as p
        on h.account_key = p.account_key and p.name = 'lacking_percent'
    left join family_facts as f on h.family = f.family
    left join lacking as x
        on h.account_key = x.account_key and h.family = x.family
    where
        a.monitored
        and h.n_began > 0
        and h.code_group in (
            'alarm_fire', 'alarm_burglary', 'alarm_other', 'supervisory',
            'tamper', 'bypass', 'power', 'trouble', 'supervision'
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
        when is_lacking then 'not_judged'
        when is_event or is_irregular then 'finding'
        else 'not_judged'
    end as verdict,
    case
        when n_restored > 0 then ''
        when sends_restores = 'no' then 'roster says it sends no restores'
        when n_began < least or days_began < days then 'too few events'
        when coalesce(n_accounts_restoring, 0) = 0
            then 'nobody restores this code in the log'
        when is_lacking then 'too many of these hours are not in the log'
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
    n_holes as excused_count,
    case when n_began >= 3 * least then 3 else 2 end as grade,
    n_restored as k,
    n_began as n
from judged
