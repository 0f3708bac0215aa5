-- purpose: a telephone line reported as cut and not as back
-- grain:   one row per account and line-fault code with an open episode
-- reads:   episodes, habits, trouble_tests, accounts, limits
-- params:  $as_of timestamp [UTC]
-- returns: the row contract of a check; measured and limit [h]
-- Standing only where this account has restored such a fault before, or its
-- tests report a trouble: else the restore may never be sent.
with
open_now as (
    select
        e.account_key,
        e.family,
        min(e.started_utc) as started_utc,
        max(e.last_event_utc) as last_event_utc,
        count(*) as n_open,
        sum(e.n_doubt) as n_doubt
    from episodes as e
    inner join accounts as a on e.account_key = a.account_key
    where
        a.monitored
        and e.family in ('351', '352')
        and e.restored_utc is null
    group by e.account_key, e.family
),
in_trouble as (
    select distinct account_key
    from trouble_tests
    where last_code = '608'
),
judged as (
    select
        o.*,
        l.value as limit_h,
        (epoch($as_of) - epoch(o.started_utc)) / 3600 as open_h,
        coalesce(h.n_restored, 0) as n_restored,
        h.last_restored_utc,
        t.account_key is not null as says_trouble
    from open_now as o
    inner join limits as l
        on o.account_key = l.account_key and l.name = 'open_h'
    left join habits as h
        on o.account_key = h.account_key and o.family = h.family
    left join in_trouble as t on o.account_key = t.account_key
)
select
    account_key,
    'code=' || family as subject,
    case
        when open_h <= limit_h then 'sound'
        when n_restored > 0 or says_trouble then 'finding'
        else 'not_judged'
    end as verdict,
    case
        when open_h <= limit_h then 'within the limit'
        when n_restored > 0 or says_trouble then ''
        else 'this account never restored a line fault'
    end as reason,
    open_h as measured,
    limit_h as limit_value,
    'h' as unit,
    started_utc as since_utc,
    $as_of as until_utc,
    started_utc as evidence_from_utc,
    $as_of as evidence_until_utc,
    last_restored_utc as last_good_utc,
    n_open as evidence_count,
    0 as excused_count,
    case when open_h > 3 * limit_h then 3 else 2 end as grade,
    n_open as k,
    n_open as n,
    case when n_doubt > 0 then 1 else 0 end as doubtful
from judged
