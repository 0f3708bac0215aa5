-- purpose: an account's own clock beside the clock of its receiver
-- grain:   one row per account and receiver whose log holds sending times
-- reads:   fact_clock, heard_as, calendar, clock_offsets
-- params:  $as_of timestamp [UTC]
-- returns: offset_s [s] the median over the days of the last four weeks of
--          received minus stated time, above 0 the account's clock is behind;
--          n [signals], n_days; spread_s [s] the median distance from it;
--          receiver_offset_s that of the receiver beside all, null if unknown.
--          A time without an offset is taken in the station's zone
with
heard as (
    select distinct account_key, heard_key, receiver
    from heard_as
),
daily as (
    select
        h.account_key,
        f.receiver,
        f.n,
        case
            when f.stated = 'local' then f.offset_s + c.offset_s
            else f.offset_s
        end as offset_s
    from fact_clock as f
    inner join heard as h
        on f.account_key = h.heard_key and f.receiver = h.receiver
    inner join calendar as c
        on
            f.utc_day + interval 12 hour >= c.from_utc
            and f.utc_day + interval 12 hour < c.until_utc
    where f.utc_day >= $as_of - interval 28 day
),
centre as (
    select
        account_key,
        receiver,
        median(offset_s) as offset_s,
        sum(n) as n,
        count(*) as n_days
    from daily
    group by account_key, receiver
)
select
    c.account_key,
    c.receiver,
    c.offset_s,
    c.n,
    c.n_days,
    median(
        greatest(d.offset_s - c.offset_s, c.offset_s - d.offset_s)
    ) as spread_s,
    min(o.offset_s) as receiver_offset_s
from centre as c
inner join daily as d
    on c.account_key = d.account_key and c.receiver = d.receiver
left join clock_offsets as o on c.receiver = o.receiver
group by c.account_key, c.receiver, c.offset_s, c.n, c.n_days
order by c.account_key, c.receiver
