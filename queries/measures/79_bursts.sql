-- purpose: runs of many signals, those that UTC midnight cut joined again
-- grain:   one row per account and run that touches the window
-- reads:   fact_burst, heard_as
-- params:  $from, $until timestamp [UTC]
-- returns: n [signals], resends among them, codes and points (of the busier
--          half where midnight cut the run), first and last
with
owned as (
    select distinct heard_key, account_key from heard_as
),
mine as (
    select
        o.account_key,
        b.utc_day,
        b.burst_no,
        b.n,
        b.n_resend,
        b.n_codes,
        b.n_points,
        b.first_utc,
        b.last_utc
    from fact_burst as b
    inner join owned as o on b.account_key = o.heard_key
    where b.last_utc >= $from - interval 1 day and b.first_utc < $until
),
joined as (
    select
        a.account_key,
        a.first_utc,
        greatest(a.last_utc, coalesce(b.last_utc, a.last_utc)) as last_utc,
        a.n + coalesce(b.n, 0) as n,
        a.n_resend + coalesce(b.n_resend, 0) as n_resend,
        greatest(a.n_codes, coalesce(b.n_codes, 0)) as n_codes,
        greatest(a.n_points, coalesce(b.n_points, 0)) as n_points,
        p.n is not null as goes_on
    from mine as a
    left join mine as b
        on
            a.account_key = b.account_key
            and b.utc_day = a.utc_day + interval 1 day
            and epoch(b.first_utc) - epoch(a.last_utc) < 1800
    left join mine as p
        on
            a.account_key = p.account_key
            and a.utc_day = p.utc_day + interval 1 day
            and epoch(a.first_utc) - epoch(p.last_utc) < 1800
)
select account_key, first_utc, last_utc, n, n_resend, n_codes, n_points
from joined
where not goes_on and last_utc >= $from
