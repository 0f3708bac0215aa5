-- purpose: fire alarms of one point that come again
-- grain:   one row per account, partition and zone with a fire alarm in
--          the last four weeks
-- reads:   alarms, accounts, zones, excuses, limits
-- params:  $until timestamp [UTC]
-- returns: the row contract of a check; measured and limit [occasions in four
--          weeks]; k of them between 22 and 6 h local time, n all
-- Each was an alarm and was handled as one; nothing here says otherwise.
-- Alarms within half an hour are one occasion. On test they are counted apart;
-- where the signals only look like an inspection nobody has said so, and they
-- still count. Waterflow has a check of its own; dry contacts of a transmitter
-- stand for any point and are left out, as are alarms that name no point.
with
flows as (
    select
        f.account_key,
        f.partition,
        f.zone,
        f.received_utc,
        f.hour_no - 24 * floor(f.hour_no / 24) as hour_of_day,
        f.on_test_utc is not null as is_tried,
        f.in_inspection,
        f.time_doubt,
        f.source_id,
        f.line_no
    from alarms as f
    inner join accounts as a on f.account_key = a.account_key
    left join zones as z
        on
            f.account_key = z.account_key
            and f.partition = z.partition
            and f.zone = z.zone
            and z.kind in ('contact_input', 'communicator')
    where
        a.monitored
        and f.code_group = 'alarm_fire'
        and f.family <> '113'
        and f.zone not in ('', '000')
        and f.format <> 'contact_input'
        and z.account_key is null
),
steps as (
    select
        *,
        lag(received_utc) over (
            partition by account_key, partition, zone, is_tried
            order by received_utc, source_id, line_no
        ) as before_utc
    from flows
),
occasions as (
    select
        *,
        case
            when is_tried then 0
            when before_utc is null then 1
            when epoch(received_utc) - epoch(before_utc) > 1800 then 1
            else 0
        end as begins
    from steps
),
lacking as (
    select
        account_key,
        sum(
            epoch(least(until_utc, cast($until as timestamp)))
            - epoch(greatest(
                from_utc, cast($until as timestamp) - interval 28 day
            ))
        ) as lacking_s
    from excuses
    where
        path = ''
        and why <> 'on_test'
        and until_utc > $until - interval 28 day
        and from_utc < $until
    group by account_key
),
counted as (
    select
        account_key,
        partition,
        zone,
        sum(begins) as n_times,
        sum(case
            when begins = 1 and (hour_of_day >= 22 or hour_of_day < 6) then 1
            else 0
        end) as n_night,
        sum(case when begins = 1 and in_inspection then 1 else 0 end)
            as n_inspected,
        count(*) filter (where is_tried) as n_tried,
        count(*) filter (where not is_tried) as n_alarms,
        min(case when begins = 1 then received_utc end) as first_utc,
        max(case when begins = 1 then received_utc end) as last_utc,
        min(received_utc) as first_any_utc,
        sum(case when time_doubt <> 'exact' then 1 else 0 end) as n_doubt
    from occasions
    group by account_key, partition, zone
),
judged as (
    select
        c.*,
        l.value as limit_n,
        coalesce(k.lacking_s, 0) as lacking_s
    from counted as c
    inner join limits as l
        on c.account_key = l.account_key and l.name = 'times'
    left join lacking as k on c.account_key = k.account_key
)
select
    account_key,
    'zone=' || partition || '/' || zone as subject,
    case
        when n_times >= limit_n and n_inspected = n_times then 'not_judged'
        when n_times >= limit_n then 'finding'
        when n_times * 2419200 >= limit_n * (2419200 - lacking_s)
            then 'not_judged'
        else 'sound'
    end as verdict,
    case
        when n_times >= limit_n and n_inspected = n_times
            then 'all in what looks like inspections that on_test lacks'
        when n_times >= limit_n and n_inspected > 0
            then 'some in what looks like an inspection that on_test lacks'
        when n_times >= limit_n then ''
        when n_times * 2419200 >= limit_n * (2419200 - lacking_s)
            then 'too much of four weeks is not in the log'
        when n_times = 0 then 'only while on test'
        else 'seldom; each was an alarm'
    end as reason,
    cast(n_times as double) as measured,
    limit_n as limit_value,
    'occasions' as unit,
    coalesce(first_utc, first_any_utc) as since_utc,
    last_utc as until_utc,
    coalesce(first_utc, first_any_utc) as evidence_from_utc,
    $until as evidence_until_utc,
    cast(null as timestamp) as last_good_utc,
    n_alarms as evidence_count,
    n_inspected as excused_count,
    case when n_times >= 2 * limit_n then 3 else 2 end as grade,
    n_night as k,
    n_times as n,
    case when n_doubt > 0 then 1 else 0 end as doubtful
from judged
