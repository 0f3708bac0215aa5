-- purpose: what each path is asked for by the roster, and how often it tests
-- grain:   one row per monitored account and path of the roster
-- reads:   accounts, paths, fact_test, heard_as
-- params:  $as_of timestamp [UTC]
-- returns: test_s, supervision_s [s] of the roster, null where it says nothing;
--          usual_s [s] the mean interval of the last four weeks' tests on this
--          path, null with fewer than four; n_paths of the account
with
tests as (
    select h.account_key, h.path, f.received_utc
    from fact_test as f
    inner join heard_as as h
        on
            f.account_key = h.heard_key
            and f.receiver = h.receiver
            and f.line = h.line
            and f.path = h.stated_path
    where
        f.test_kind = 'periodic'
        and f.received_utc >= $as_of - interval 28 day
),
usual as (
    select
        account_key,
        path,
        (epoch(max(received_utc)) - epoch(min(received_utc)))
        / (count(*) - 1) as usual_s
    from tests
    group by account_key, path
    having count(*) >= 4
),
counted as (
    select account_key, count(*) as n_paths
    from paths
    group by account_key
)
select
    a.account_key,
    a.account,
    a.site,
    a.system_type,
    p.path,
    p.kind,
    c.n_paths,
    p.test_s,
    p.supervision_s,
    u.usual_s
from accounts as a
inner join paths as p on a.account_key = p.account_key
inner join counted as c on a.account_key = c.account_key
left join usual as u
    on p.account_key = u.account_key and p.path = u.path
where a.monitored
order by a.account_key, p.path
