-- purpose: on the roster, in service, and never heard
-- grain:   one row per monitored account
-- reads:   accounts, paths, path_lines, heard, requirements, excuses,
--          station, calendar, limits
-- params:  $as_of timestamp [UTC]
-- returns: the row contract of a check; measured and limit [h]
-- The clock starts when the day of installation is over (its hour is not on the
-- roster), not at the first signal, and not before the log: nobody can say what
-- came before it. An interval counts only if keeping it would show in the log,
-- and a figure known from memory never makes this a finding.
with
service as (
    select
        a.account_key,
        greatest(
            coalesce(
                cast(a.installed_on as timestamp)
                + interval 1 day
                - coalesce(c.offset_s, 0) * interval 1 second,
                s.data_first_utc
            ),
            s.data_first_utc
        ) as start_utc
    from accounts as a
    cross join station as s
    left join calendar as c
        on
            cast(a.installed_on as timestamp) + interval 1 day >= c.from_utc
            and cast(a.installed_on as timestamp) + interval 1 day < c.until_utc
    where a.monitored
),
tightest as (
    select
        r.account_key,
        min(r.seconds + r.grace_s) as limit_s,
        min(r.standing) as standing
    from requirements as r
    left join paths as p
        on r.account_key = p.account_key and r.path = p.path
    where
        r.standing <> 'memory'
        and (r.what <> 'supervision' or p.checks_in = 'yes')
    group by r.account_key
),
unlogged as (
    select p.account_key
    from paths as p
    left join path_lines as g
        on p.account_key = g.account_key and p.path = g.path
    group by p.account_key
    having
        count(*) = sum(case
            when p.receiver <> '' and g.account_key is null then 1 else 0
        end)
),
unheard as (
    select
        e.account_key,
        sum(
            epoch(least(e.until_utc, $as_of))
            - epoch(greatest(e.from_utc, v.start_utc))
        ) as hidden_s
    from excuses as e
    inner join service as v on e.account_key = v.account_key
    where
        e.path = ''
        and e.why <> 'on_test'
        and e.until_utc > v.start_utc
        and e.from_utc < $as_of
    group by e.account_key
),
clocked as (
    select
        v.account_key,
        v.start_utc,
        h.first_utc,
        n.account_key is not null as is_unlogged,
        coalesce(t.limit_s, l.value * 3600) as limit_s,
        coalesce(t.standing, '') as standing,
        coalesce(u.hidden_s, 0) as hidden_s,
        epoch($as_of) - epoch(v.start_utc) - coalesce(u.hidden_s, 0) as open_s
    from service as v
    inner join limits as l
        on v.account_key = l.account_key and l.name = 'first_signal_h'
    left join heard as h on v.account_key = h.account_key
    left join tightest as t on v.account_key = t.account_key
    left join unheard as u on v.account_key = u.account_key
    left join unlogged as n on v.account_key = n.account_key
)
select
    account_key,
    '' as subject,
    case
        when first_utc is not null then 'sound'
        when is_unlogged then 'not_judged'
        when open_s > limit_s then 'finding'
        else 'not_judged'
    end as verdict,
    case
        when first_utc is not null then ''
        when is_unlogged then 'no log of its receiver lines is held'
        when open_s > limit_s then ''
        when hidden_s > 0 then 'log of its receiver lines is missing'
        else 'in service for too short a time'
    end as reason,
    open_s / 3600 as measured,
    limit_s / 3600 as limit_value,
    'h' as unit,
    start_utc as since_utc,
    $as_of as until_utc,
    start_utc as evidence_from_utc,
    $as_of as evidence_until_utc,
    cast(null as timestamp) as last_good_utc,
    0 as evidence_count,
    case when hidden_s > 0 then 1 else 0 end as excused_count,
    case when open_s > 7 * 86400 then 3 else 2 end as grade,
    0 as k,
    0 as n,
    standing
from clocked
