-- purpose: accounts that should speak and do not, as twins of stray numbers
-- grain:   one row per monitored account never heard, or silent for longer
--          than its interval (a week where none is known)
-- reads:   accounts, heard, visible_requirements, test_rhythm, ranks_as
-- params:  $as_of timestamp [UTC]
-- returns: last_utc null where never heard; test period [s] it kept, else the
--          one asked of it, and its last test
with
due as (
    select
        account_key,
        min(seconds + grace_s) as due_s,
        min(case when what = 'test' then seconds end) as test_s
    from visible_requirements
    group by account_key
),
clock as (
    select
        account_key,
        min(period_s) as period_s,
        max(last_utc) as last_test_utc
    from test_rhythm
    group by account_key
)
select
    a.account_key,
    a.receiver_group,
    a.account,
    a.installed_on,
    r.ranks_as,
    h.first_utc,
    h.last_utc,
    coalesce(c.period_s, d.test_s) as test_s,
    c.last_test_utc
from accounts as a
inner join ranks_as as r on a.account_key = r.account_key
left join heard as h on a.account_key = h.account_key
left join due as d on a.account_key = d.account_key
left join clock as c on a.account_key = c.account_key
where
    a.monitored
    and (
        h.account_key is null
        or epoch($as_of) - epoch(h.last_utc)
        > greatest(coalesce(d.due_s, 604800), coalesce(c.period_s, 0))
    )
