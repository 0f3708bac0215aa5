-- purpose: the accounts that a monthly health report tells of
-- grain:   one row per monitored account
-- reads:   all_accounts, kept_ranks_as, kept_heard, kept_said, signals,
--          month_span
-- params:  none
-- returns: who it belongs to and in which language it is told; signals of the
--          month, check-ins left out; last signal; last sign that only a panel
--          gives (its own word, an opening or closing, an alarm, a bypass)
with
counted as (
    select s.account_key, count(*) as n
    from signals as s
    cross join month_span as m
    where
        s.format <> 'check_in'
        and s.origin <> 'receiver'
        and s.received_utc >= m.from_utc
        and s.received_utc < m.until_utc
    group by s.account_key
),
panel as (
    select account_key, max(last_utc) as last_utc
    from kept_said
    where
        origin = 'panel'
        or (
            origin = 'unknown'
            and code_group in (
                'open_close', 'bypass', 'alarm_fire', 'alarm_medical',
                'alarm_holdup', 'alarm_burglary', 'alarm_other'
            )
        )
    group by account_key
)
select
    a.account_key,
    a.account,
    a.receiver_group,
    a.site,
    a.customer,
    a.customer_email,
    a.dealer,
    a.language,
    a.send_report,
    a.status,
    a.installed_on,
    coalesce(r.ranks_as, a.system_type) as system_type,
    cast(coalesce(c.n, 0) as bigint) as signals,
    h.first_utc as first_heard_utc,
    h.last_utc as last_heard_utc,
    p.last_utc as last_panel_utc
from all_accounts as a
left join kept_ranks_as as r on a.account_key = r.account_key
left join counted as c on a.account_key = c.account_key
left join kept_heard as h on a.account_key = h.account_key
left join panel as p on a.account_key = p.account_key
where a.monitored
order by a.account_key
