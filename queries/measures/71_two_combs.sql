-- purpose: two timers of one box, running at the same time
-- grain:   one row per account and origin: the two fullest combs that overlap
-- reads:   found_combs, rhythm, test, used_lines, edge, zones
-- params:  $as_of timestamp [UTC]
-- returns: per comb its path, period [s], tests, first, last and most usual
--          receiver line; cycles of the longer period that both ran; what
--          speaks for two sites: stray_way 1 where the lines differ and one
--          is not listed for the account, n_foreign_zones that the zone list
--          lacks and that alarmed since the later comb began
with
several as (
    select account_key, origin
    from rhythm
    where period_s is not null and single_step_share >= 0.6
    group by account_key, origin
    having count(*) > 1
),
single_ways as (
    select
        t.account_key,
        t.origin,
        t.path,
        t.receiver || '/' || t.line as way,
        count(*) as n_way,
        min(t.received_utc) as first_utc,
        max(t.received_utc) as last_utc
    from test as t
    inner join several as s
        on t.account_key = s.account_key and t.origin = s.origin
    where t.test_kind = 'periodic'
    group by t.account_key, t.origin, t.path, t.receiver || '/' || t.line
),
usual_ways as (
    select *
    from single_ways
    qualify
        row_number() over (
            partition by account_key, origin, path
            order by n_way desc, way
        ) = 1
),
known as (
    select
        account_key, origin, path, comb_no, period_s, n, share, first_utc,
        last_utc, way
    from found_combs
    union all
    select
        r.account_key, r.origin, r.path, 1 as comb_no, r.period_s, r.n,
        1.0 as share, u.first_utc, u.last_utc, u.way
    from rhythm as r
    inner join usual_ways as u
        on
            r.account_key = u.account_key
            and r.origin = u.origin
            and r.path = u.path
    where r.period_s is not null and r.single_step_share >= 0.6
),
running as (
    select *
    from known
    where epoch($as_of) - epoch(last_utc) <= 2 * period_s + 3600
),
paired as (
    select
        a.account_key,
        a.origin,
        a.path as path_a,
        b.path as path_b,
        a.period_s as period_a_s,
        b.period_s as period_b_s,
        a.n as n_a,
        b.n as n_b,
        a.way as way_a,
        b.way as way_b,
        a.first_utc as first_a_utc,
        b.first_utc as first_b_utc,
        greatest(a.first_utc, b.first_utc) as from_utc,
        least(a.last_utc, b.last_utc) as until_utc,
        (
            epoch(least(a.last_utc, b.last_utc))
            - epoch(greatest(a.first_utc, b.first_utc))
        ) / greatest(a.period_s, b.period_s) as cycles
    from running as a
    inner join running as b
        on
            a.account_key = b.account_key
            and a.origin = b.origin
            and (
                a.path < b.path
                or (a.path = b.path and a.comb_no < b.comb_no)
            )
),
best as (
    select *
    from paired
    where cycles > 0
    qualify
        row_number() over (
            partition by account_key, origin
            order by
                case when path_a = path_b then 0 else 1 end,
                cycles desc, n_a + n_b desc, path_a, path_b, way_a, way_b,
                first_a_utc, first_b_utc
        ) = 1
),
strays as (
    select b.account_key, b.origin, count(*) as n_stray
    from best as b
    inner join used_lines as u
        on
            b.account_key = u.account_key
            and (
                b.way_a = u.receiver || '/' || u.line
                or b.way_b = u.receiver || '/' || u.line
            )
    where b.way_a <> b.way_b and u.lists_any and not u.is_listed
    group by b.account_key, b.origin
),
foreign_zones as (
    select
        b.account_key,
        b.origin,
        count(distinct e.partition || '/' || e.zone) as n_foreign_zones
    from best as b
    inner join edge as e on b.account_key = e.account_key
    left join zones as z
        on
            e.account_key = z.account_key
            and e.zone = z.zone
    where
        e.received_utc >= b.from_utc
        and e.qualifier = 'E'
        and e.zone not in ('', '000')
        and e.code_group in ('alarm_fire', 'alarm_burglary')
        and z.account_key is null
        and b.account_key in (select account_key from zones)
    group by b.account_key, b.origin
)
select
    b.account_key,
    b.origin,
    b.path_a,
    b.path_b,
    b.period_a_s,
    b.period_b_s,
    b.n_a,
    b.n_b,
    b.way_a,
    b.way_b,
    b.first_a_utc,
    b.first_b_utc,
    b.from_utc,
    b.until_utc,
    b.cycles,
    case when s.n_stray > 0 then 1 else 0 end as stray_way,
    coalesce(f.n_foreign_zones, 0) as n_foreign_zones
from best as b
left join strays as s
    on b.account_key = s.account_key and b.origin = s.origin
left join foreign_zones as f
    on b.account_key = f.account_key and b.origin = f.origin
