-- purpose: when a signal of an account's path could not have been expected
-- grain:   one row per account, path ('' = the account as a whole) and span;
--          the spans of one path never overlap, so that they may be summed
-- reads:   path_sets, set_holes, incident_members, on_test
-- params:  $as_of timestamp [UTC]
-- returns: why the kind of the incident, or on_test where no incident holds;
--          hours in which nothing was heard go before what many accounts lost,
--          for what came in them is in no log. An on-test span that is still
--          open ends at $as_of. A member of an incident that struck one path is
--          excused as a whole only where every path of it was struck
with
ways as (
    select account_key, count(*) as n_paths
    from path_sets
    where path <> ''
    group by account_key
),
struck as (
    select
        m.account_key,
        m.incident_id,
        m.kind,
        m.from_utc,
        m.until_utc,
        count(distinct m.path) as n_struck
    from incident_members as m
    inner join path_sets as s
        on m.account_key = s.account_key and m.path = s.path
    where m.path <> ''
    group by m.account_key, m.incident_id, m.kind, m.from_utc, m.until_utc
),
stretches as (
    select
        s.account_key,
        s.path,
        h.from_utc,
        h.until_utc,
        h.kind as why,
        h.incident_id,
        1 as rank_no
    from path_sets as s
    inner join set_holes as h on s.line_set = h.line_set
    union all
    select
        s.account_key,
        s.path,
        m.from_utc,
        m.until_utc,
        m.kind as why,
        m.incident_id,
        2 as rank_no
    from path_sets as s
    inner join incident_members as m
        on s.account_key = m.account_key and (m.path = '' or s.path = m.path)
    union all
    select
        s.account_key,
        '' as path,
        s.from_utc,
        s.until_utc,
        s.kind as why,
        s.incident_id,
        2 as rank_no
    from struck as s
    inner join ways as w
        on s.account_key = w.account_key and s.n_struck = w.n_paths
    union all
    select
        s.account_key,
        s.path,
        t.from_utc,
        coalesce(t.until_utc, $as_of) as until_utc,
        'on_test' as why,
        '' as incident_id,
        3 as rank_no
    from path_sets as s
    inner join on_test as t on s.account_key = t.account_key
    where t.from_utc < $as_of
),
edges as (
    select account_key, path, from_utc as edge_utc from stretches
    union
    select account_key, path, until_utc as edge_utc from stretches
),
cells as (
    select
        account_key,
        path,
        edge_utc as from_utc,
        lead(edge_utc) over (
            partition by account_key, path
            order by edge_utc
        ) as until_utc
    from edges
),
covered as (
    select
        c.account_key,
        c.path,
        c.from_utc,
        c.until_utc,
        s.why,
        s.incident_id,
        row_number() over (
            partition by c.account_key, c.path, c.from_utc
            order by s.rank_no, s.why, s.incident_id
        ) as place
    from cells as c
    inner join stretches as s
        on
            c.account_key = s.account_key
            and c.path = s.path
            and c.from_utc >= s.from_utc
            and c.until_utc <= s.until_utc
    where c.until_utc is not null
)
select account_key, path, from_utc, until_utc, why, incident_id
from covered
where place = 1
