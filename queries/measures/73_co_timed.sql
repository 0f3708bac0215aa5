-- purpose: numbers that tell the same things in the same minute
-- grain:   one row per pair that shared two telling events or more in four
--          weeks; it stands under the rostered number, else the lower one
-- reads:   rare_edges, accounts
-- params:  none
-- returns: n_pairs events shared within 60 s (same code, zone, qualifier),
--          n_telling of them no area shares, on n_days; events of each number;
--          is_coarse where a number's log tells whole minutes only; same_site
--          where the roster says they are neighbours by plan
-- Joined over minutes, never over all pairs: a minute in which more than fifty
-- numbers tell the same is an area's and left out.
with
counted as (
    select
        account_key,
        count(*) as n_events,
        sum(case when is_telling then 1 else 0 end) as n_telling,
        sum(case
            when epoch(received_utc) = slot_no * 60 then 1 else 0
        end) as n_whole
    from rare_edges
    group by account_key
),
able as (
    select account_key from counted where n_telling > 1
),
crowds as (
    select slot_no, qualifier, code, zone
    from rare_edges
    group by slot_no, qualifier, code, zone
    having count(distinct account_key) > 50
),
kept as (
    select r.*
    from rare_edges as r
    inner join able as a on r.account_key = a.account_key
    left join crowds as c
        on
            r.slot_no = c.slot_no
            and r.qualifier = c.qualifier
            and r.code = c.code
            and r.zone = c.zone
    where c.slot_no is null
),
spread as (
    select *, slot_no - 1 as near_no from kept where is_telling
    union all
    select *, slot_no as near_no from kept where is_telling
    union all
    select *, slot_no + 1 as near_no from kept where is_telling
),
candidates as (
    select
        a.account_key as low_key,
        b.account_key as high_key,
        count(distinct a.received_utc) as n_telling,
        count(distinct date_trunc('day', a.received_utc)) as n_days
    from spread as a
    inner join kept as b
        on
            a.near_no = b.slot_no
            and a.qualifier = b.qualifier
            and a.code = b.code
            and a.zone = b.zone
            and a.account_key < b.account_key
    where
        epoch(b.received_utc) - epoch(a.received_utc) between -60 and 60
    group by a.account_key, b.account_key
    having count(distinct a.received_utc) > 1
),
shared as (
    select
        c.low_key,
        c.high_key,
        count(distinct a.received_utc) as n_pairs,
        avg(epoch(b.received_utc) - epoch(a.received_utc)) as mean_gap_s,
        min(a.received_utc) as first_utc,
        max(a.received_utc) as last_utc
    from candidates as c
    inner join rare_edges as a on c.low_key = a.account_key
    inner join rare_edges as b
        on
            c.high_key = b.account_key
            and a.qualifier = b.qualifier
            and a.code = b.code
            and a.zone = b.zone
    where
        epoch(b.received_utc) - epoch(a.received_utc) between -60 and 60
    group by c.low_key, c.high_key
),
told as (
    select
        s.*,
        c.n_telling,
        c.n_days,
        l.n_events as n_low,
        h.n_events as n_high,
        l.n_whole = l.n_events or h.n_whole = h.n_events as is_coarse,
        x.account_key is not null as low_listed,
        y.account_key is not null as high_listed,
        coalesce(x.site = y.site and x.site <> '', false) as same_site
    from shared as s
    inner join candidates as c
        on s.low_key = c.low_key and s.high_key = c.high_key
    inner join counted as l on s.low_key = l.account_key
    inner join counted as h on s.high_key = h.account_key
    left join accounts as x on s.low_key = x.account_key
    left join accounts as y on s.high_key = y.account_key
)
select
    case
        when high_listed and not low_listed then high_key else low_key
    end as account_key,
    case
        when high_listed and not low_listed then low_key else high_key
    end as peer_key,
    n_pairs,
    n_telling,
    n_days,
    least(n_low, n_high) as n_smaller,
    mean_gap_s,
    first_utc,
    last_utc,
    is_coarse,
    same_site,
    low_listed and high_listed as both_listed
from told
