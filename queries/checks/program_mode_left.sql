-- purpose: program mode, walk test or fire test entered and not left
-- grain:   one row per account and mode that was entered and not left
-- reads:   standing, said, accounts, alarms, excuses, limits
-- params:  $as_of timestamp [UTC]
-- returns: the row contract of a check; measured and limit [h]
-- 604 and 607 have restores of their own; program mode begins with 627 and ends
-- with 628. A panel that never reported an end is not judged. An alarm since
-- shows that program mode was left.
with
modes as (
    select
        s.account_key,
        'code=' || s.family || ',zone=' || s.partition || '/' || s.zone
            as subject,
        s.started_utc,
        s.open_h,
        s.proven_h,
        s.n_holes,
        s.would_tell,
        s.last_restored_utc as last_left_utc,
        s.n_events,
        false as has_alarmed
    from standing as s
    where s.family in ('604', '607')
),
entered as (
    select
        s.account_key,
        max(case when s.code = '627' then s.last_utc end) as started_utc,
        max(case when s.code = '628' then s.last_utc end) as left_utc,
        sum(case when s.code = '627' then s.n else 0 end) as n_events
    from said as s
    inner join accounts as a on s.account_key = a.account_key
    where a.monitored and s.code in ('627', '628')
    group by s.account_key
),
inside as (
    select *
    from entered
    where
        started_utc is not null
        and (left_utc is null or started_utc > left_utc)
),
unheard as (
    select
        i.account_key,
        min(greatest(x.from_utc, i.started_utc)) as from_utc,
        count(*) as n_holes
    from inside as i
    inner join excuses as x on i.account_key = x.account_key
    where
        x.path = ''
        and x.why <> 'on_test'
        and x.until_utc > i.started_utc
        and x.from_utc < $as_of
    group by i.account_key
),
alarmed as (
    select i.account_key, count(*) as n_alarms
    from inside as i
    inner join alarms as m
        on i.account_key = m.account_key and m.received_utc > i.started_utc
    where m.origin not in ('communicator', 'network')
    group by i.account_key
),
both_kinds as (
    select * from modes
    union all
    select
        i.account_key,
        'code=627' as subject,
        i.started_utc,
        (epoch($as_of) - epoch(i.started_utc)) / 3600 as open_h,
        (epoch(coalesce(u.from_utc, $as_of)) - epoch(i.started_utc)) / 3600
            as proven_h,
        coalesce(u.n_holes, 0) as n_holes,
        i.left_utc is not null as would_tell,
        i.left_utc as last_left_utc,
        i.n_events,
        m.account_key is not null as has_alarmed
    from inside as i
    left join unheard as u on i.account_key = u.account_key
    left join alarmed as m on i.account_key = m.account_key
)
select
    b.account_key,
    b.subject,
    case
        when b.open_h <= l.value or b.has_alarmed then 'sound'
        when not b.would_tell then 'not_judged'
        when b.proven_h > l.value then 'finding'
        else 'not_judged'
    end as verdict,
    case
        when b.open_h <= l.value then 'within the limit'
        when b.has_alarmed then 'alarms came since'
        when not b.would_tell then 'this account never reported such an end'
        when b.proven_h > l.value then ''
        else 'the end may lie in hours that the log lacks'
    end as reason,
    b.open_h as measured,
    l.value as limit_value,
    'h' as unit,
    b.started_utc as since_utc,
    $as_of as until_utc,
    b.started_utc as evidence_from_utc,
    $as_of as evidence_until_utc,
    b.last_left_utc as last_good_utc,
    b.n_events as evidence_count,
    b.n_holes as excused_count,
    case when b.open_h > 3 * l.value then 3 else 2 end as grade,
    b.n_events as k,
    b.n_events as n
from both_kinds as b
inner join limits as l
    on b.account_key = l.account_key and l.name = 'open_h'
