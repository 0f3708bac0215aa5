-- purpose: conditions from their beginning to their next restore
-- grain:   one row per account, family, partition, zone and beginning
-- reads:   edge
-- params:  none
-- returns: restored_utc is null while no restore of the family (the code or
--          its sister by arming state) came up to $as_of; n_events counts the
--          beginning and every reminder of it. What stands between two
--          restores is one condition: its first event begins it, the rest
--          remind of it, and the restore that follows ends it
with
ordered as (
    select
        *,
        sum(case when qualifier = 'R' then 1 else 0 end) over (
            partition by account_key, family, partition, zone
            order by received_utc, source_id, line_no
            rows between unbounded preceding and current row
        ) - case when qualifier = 'R' then 1 else 0 end as n_restored
    from edge
),
stretches as (
    select
        account_key,
        family,
        partition,
        zone,
        n_restored,
        min(code) filter (where qualifier <> 'R') as code,
        min(code_group) filter (where qualifier <> 'R') as code_group,
        min(event_class) filter (where qualifier <> 'R') as event_class,
        min(path) filter (where qualifier <> 'R') as path,
        min(origin) filter (where qualifier <> 'R') as origin,
        min(received_utc) filter (where qualifier <> 'R') as started_utc,
        min(received_utc) filter (where qualifier = 'R') as restored_utc,
        count(*) filter (where qualifier <> 'R') as n_events,
        max(received_utc) filter (where qualifier <> 'R') as last_event_utc,
        coalesce(sum(case when time_doubt <> 'exact' then 1 else 0 end) filter (
            where qualifier <> 'R'
        ), 0) as n_doubt
    from ordered
    group by account_key, family, partition, zone, n_restored
)
select
    account_key,
    family,
    partition,
    zone,
    row_number() over (
        partition by account_key, family, partition, zone
        order by n_restored
    ) as episode_no,
    code,
    code_group,
    event_class,
    path,
    origin,
    started_utc,
    restored_utc,
    n_events,
    last_event_utc,
    n_doubt
from stretches
where n_events > 0
