-- purpose: conditions from their beginning to their next restore
-- grain:   one row per account, family, partition, zone and beginning
-- reads:   edge
-- params:  none
-- returns: restored_utc is null while no restore of the family (the code or
--          its sister by arming state) came up to $as_of; n_events counts the
--          beginning and every reminder of it
with
ordered as (
    select
        *,
        lag(qualifier) over same as before_qualifier,
        min(case when qualifier = 'R' then received_utc end) over (
            partition by account_key, family, partition, zone
            order by received_utc, source_id, line_no
            rows between 1 following and unbounded following
        ) as restored_utc
    from edge
    window same as (
        partition by account_key, family, partition, zone
        order by received_utc, source_id, line_no
    )
),
began as (
    select
        *,
        case
            when qualifier = 'R' then 0
            when before_qualifier is null or before_qualifier = 'R' then 1
            else 0
        end as begins
    from ordered
),
numbered as (
    select
        *,
        sum(begins) over (
            partition by account_key, family, partition, zone
            order by received_utc, source_id, line_no
            rows between unbounded preceding and current row
        ) as episode_no
    from began
    where qualifier <> 'R'
)
select
    account_key,
    family,
    partition,
    zone,
    episode_no,
    min(code) as code,
    min(code_group) as code_group,
    min(event_class) as event_class,
    min(path) as path,
    min(origin) as origin,
    min(received_utc) as started_utc,
    min(restored_utc) as restored_utc,
    count(*) as n_events,
    max(received_utc) as last_event_utc,
    sum(case when time_doubt <> 'exact' then 1 else 0 end) as n_doubt
from numbered
group by account_key, family, partition, zone, episode_no
