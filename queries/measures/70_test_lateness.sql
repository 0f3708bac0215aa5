-- purpose: by how much required tests come after their interval
-- grain:   one row per requirement of what test, source roster or edition
-- reads:   requirements, received_slots
-- params:  $until timestamp [UTC]
-- returns: n_gaps between neighbouring tests of four weeks, shorter than one
--          and a half intervals; n_late of them 2 to 60 minutes over it, their
--          mean [min]; n_early under it by more than 2 minutes; first and last
with
gaps as (
    select
        q.account_key,
        q.path,
        q.seconds,
        q.standing,
        s.received_utc,
        lag(s.received_utc) over (
            partition by q.account_key, q.path
            order by s.received_utc
        ) as before_utc
    from requirements as q
    inner join received_slots as s
        on
            q.account_key = s.account_key
            and q.path = s.path
            and q.what = s.what
    where
        q.what = 'test'
        and q.source <> 'inferred'
        and s.received_utc >= $until - interval 28 day
        and s.received_utc < $until
),
over as (
    select
        *,
        epoch(received_utc) - epoch(before_utc) - seconds as late_s
    from gaps
    where before_utc is not null
)
select
    account_key,
    path,
    seconds,
    standing,
    count(*) as n_gaps,
    count(*) filter (where late_s > 120 and late_s <= 3600) as n_late,
    avg(case when late_s > 120 and late_s <= 3600 then late_s / 60 end)
        as mean_late_min,
    count(*) filter (where late_s < -120) as n_early,
    min(before_utc) as first_utc,
    max(received_utc) as last_utc
from over
where late_s <= seconds / 2
group by account_key, path, seconds, standing
