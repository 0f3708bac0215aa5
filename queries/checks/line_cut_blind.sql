-- purpose: a telephone line is dead and the transmitter does not notice
-- grain:   one row per telephone path of an account with another path
-- reads:   paths, accounts, life, visible_requirements, habits, excuses,
--          untold, limits
-- params:  $as_of timestamp [UTC]
-- returns: the row contract of a check; measured and limit [h]
-- Only a dead line shows whether it is sensed: its own tests stay away, the
-- site speaks by another path, and no line fault (351, 352) was ever told,
-- while others with the same transmitter tell theirs.
with
lines as (
    select
        p.account_key,
        p.path,
        a.transmitter,
        l.value as intervals,
        d.value * 3600 as least_s,
        e.value as limit_peers,
        u.account_key is not null as is_untold
    from paths as p
    inner join accounts as a on p.account_key = a.account_key
    inner join limits as l
        on p.account_key = l.account_key and l.name = 'intervals'
    inner join limits as d
        on p.account_key = d.account_key and d.name = 'least_h'
    inner join limits as e
        on p.account_key = e.account_key and e.name = 'peers'
    left join untold as u on p.account_key = u.account_key
    where
        a.monitored
        and p.kind = 'phone'
        and exists (
            select 1
            from paths as o
            where o.account_key = p.account_key and o.path <> p.path
        )
),
tellers as (
    select account_key, sum(n_began + n_restored) as n_told
    from habits
    where family in ('351', '352')
    group by account_key
),
peers as (
    select a.transmitter, count(distinct a.account_key) as n_telling
    from accounts as a
    inner join tellers as t on a.account_key = t.account_key
    where a.transmitter <> ''
    group by a.transmitter
),
alive as (
    select
        account_key,
        path,
        max(last_utc) as last_utc,
        sum(n) as n
    from life
    group by account_key, path
),
others as (
    select p.account_key, p.path, max(v.last_utc) as last_utc
    from lines as p
    inner join alive as v
        on
            p.account_key = v.account_key
            and p.path <> v.path
            and v.path <> ''
    group by p.account_key, p.path
),
required as (
    select
        account_key,
        path,
        min(seconds) as seconds,
        max(grace_s) as grace_s,
        max(case when source = 'inferred' then 1 else 0 end) as inferred,
        min(standing) as standing
    from visible_requirements
    where what = 'test'
    group by account_key, path
),
clocked as (
    select
        p.*,
        v.last_utc as line_last_utc,
        o.last_utc as other_last_utc,
        q.seconds,
        q.inferred,
        q.standing,
        coalesce(t.n_told, 0) as n_told,
        coalesce(c.n_telling, 0) as n_telling,
        greatest(
            coalesce(q.seconds * p.intervals + q.grace_s, 0), p.least_s
        ) as limit_s
    from lines as p
    left join alive as v
        on p.account_key = v.account_key and p.path = v.path
    left join others as o
        on p.account_key = o.account_key and p.path = o.path
    left join required as q
        on p.account_key = q.account_key and p.path = q.path
    left join tellers as t on p.account_key = t.account_key
    left join peers as c on p.transmitter = c.transmitter
),
hidden as (
    select
        c.account_key,
        c.path,
        sum(
            epoch(least(e.until_utc, $as_of))
            - epoch(greatest(e.from_utc, c.line_last_utc))
        ) as hidden_s
    from clocked as c
    inner join excuses as e
        on c.account_key = e.account_key and c.path = e.path
    where
        e.why <> 'on_test'
        and e.until_utc > c.line_last_utc
        and e.from_utc < $as_of
    group by c.account_key, c.path
),
judged as (
    select
        c.*,
        coalesce(h.hidden_s, 0) as hidden_s,
        epoch($as_of) - epoch(c.line_last_utc) as gap_s,
        epoch($as_of) - epoch(c.line_last_utc) - coalesce(h.hidden_s, 0)
            as open_s,
        c.other_last_utc is not null
        and epoch($as_of) - epoch(c.other_last_utc) <= c.limit_s
            as is_carried
    from clocked as c
    left join hidden as h
        on c.account_key = h.account_key and c.path = h.path
)
select
    account_key,
    'path=' || path as subject,
    case
        when n_told > 0 then 'sound'
        when is_untold or seconds is null or line_last_utc is null
            then 'not_judged'
        when open_s <= limit_s or not is_carried then 'not_judged'
        when transmitter = '' or n_telling < limit_peers then 'not_judged'
        else 'finding'
    end as verdict,
    case
        when n_told > 0 then ''
        when is_untold then 'paths not told apart'
        when seconds is null then 'no test is due on the line'
        when line_last_utc is null then 'the line was never heard'
        when gap_s <= limit_s then 'not proven: the line was never dead'
        when open_s <= limit_s then 'excused by an incident or missing log'
        when not is_carried then 'the other path is silent too'
        when transmitter = '' then 'the roster names no transmitter'
        when n_telling < limit_peers
            then 'too few of this transmitter tell line faults'
        else ''
    end as reason,
    open_s / 3600 as measured,
    limit_s / 3600 as limit_value,
    'h' as unit,
    line_last_utc as since_utc,
    $as_of as until_utc,
    line_last_utc as evidence_from_utc,
    $as_of as evidence_until_utc,
    line_last_utc as last_good_utc,
    1 as evidence_count,
    case when hidden_s > 0 then 1 else 0 end as excused_count,
    2 as grade,
    n_telling as k,
    n_telling as n,
    inferred,
    coalesce(standing, '') as standing
from judged
