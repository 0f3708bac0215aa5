-- purpose: what a month's signs of life came to, requirement by requirement
-- grain:   one row per account, path and what (test, panel_test, supervision)
-- reads:   kept_requirements, kept_visible_requirements, kept_slots,
--          kept_month_received, kept_life, month_span
-- params:  $as_of timestamp [UTC]
-- returns: received, missed and excused in the month [tests; check-ins are only
--          counted as received]; visible true where keeping it would show in
--          this log; proven true while the last counting sign is no older than
--          interval and grace at $as_of
with
missing as (
    select
        s.account_key,
        s.path,
        s.what,
        sum(case when s.state = 'missed' then 1 else 0 end) as n_missed,
        sum(case when s.state = 'excused' then 1 else 0 end) as n_excused
    from kept_slots as s
    cross join month_span as m
    where s.due_utc >= m.from_utc and s.due_utc < m.until_utc
    group by s.account_key, s.path, s.what
),
signs as (
    select account_key, path, sign, max(last_utc) as last_utc
    from kept_life
    where origin <> 'receiver'
    group by account_key, path, sign
),
proofs as (
    select
        r.account_key,
        r.path,
        r.what,
        max(s.last_utc) as last_utc
    from kept_requirements as r
    inner join signs as s
        on
            r.account_key = s.account_key
            and (r.path = s.path or r.path = '')
            and (
                (r.what = 'test' and s.sign in ('test', 'signal'))
                or (r.what = 'supervision' and s.sign = 'check_in')
            )
    group by r.account_key, r.path, r.what
)
select
    r.account_key,
    r.path,
    r.what,
    r.seconds,
    r.grace_s,
    r.source,
    r.standing,
    v.account_key is not null or r.what = 'panel_test' as visible,
    cast(coalesce(g.n_received, 0) as bigint) as n_received,
    cast(coalesce(m.n_missed, 0) as bigint) as n_missed,
    cast(coalesce(m.n_excused, 0) as bigint) as n_excused,
    g.first_utc,
    g.last_utc,
    coalesce(p.last_utc, g.last_utc) as last_proof_utc,
    coalesce(
        epoch($as_of) - epoch(coalesce(p.last_utc, g.last_utc))
        <= r.seconds + r.grace_s,
        false
    ) as proven
from kept_requirements as r
left join kept_visible_requirements as v
    on
        r.account_key = v.account_key
        and r.path = v.path
        and r.what = v.what
left join kept_month_received as g
    on
        r.account_key = g.account_key
        and r.path = g.path
        and r.what = g.what
left join missing as m
    on
        r.account_key = m.account_key
        and r.path = m.path
        and r.what = m.what
left join proofs as p
    on
        r.account_key = p.account_key
        and r.path = p.path
        and r.what = p.what
order by r.account_key, r.path, r.what
