-- purpose: mains power reported as lost and not as back
-- grain:   one row per account, family, partition and zone with an open episode
-- reads:   episodes, habits, trouble_tests, excuses, accounts, limits
-- params:  $as_of timestamp [UTC]
-- returns: the row contract of a check; measured and limit [h]
-- Standing only where this account has restored such a condition before, or a
-- later test of its own reports a trouble: else the restore may never be sent.
-- Where the log lacks hours after its last word, the restore may lie in them:
-- then only what stood longer than the limit before those hours is a finding.
with
open_now as (
    select
        e.account_key,
        e.family,
        e.partition,
        e.zone,
        min(e.path) as path,
        min(e.started_utc) as started_utc,
        max(e.last_event_utc) as last_event_utc,
        sum(e.n_events) as n_events,
        sum(e.n_doubt) as n_doubt
    from episodes as e
    inner join accounts as a on e.account_key = a.account_key
    where
        a.monitored
        and e.family in ('301', '314', '342')
        and e.restored_utc is null
    group by e.account_key, e.family, e.partition, e.zone
),
in_trouble as (
    select account_key, max(last_test_utc) as says_utc
    from trouble_tests
    where last_code = '608'
    group by account_key
),
spoken as (
    select
        o.*,
        coalesce(t.says_utc > o.started_utc, false) as says_trouble,
        greatest(o.last_event_utc, coalesce(t.says_utc, o.last_event_utc))
            as last_word_utc
    from open_now as o
    left join in_trouble as t on o.account_key = t.account_key
),
unheard as (
    select
        s.account_key,
        s.family,
        s.partition,
        s.zone,
        min(greatest(x.from_utc, s.last_word_utc)) as from_utc,
        count(distinct x.incident_id) as n_holes
    from spoken as s
    inner join excuses as x
        on s.account_key = x.account_key and s.path = x.path
    where
        x.why <> 'on_test'
        and x.until_utc > s.last_word_utc
        and x.from_utc < $as_of
    group by s.account_key, s.family, s.partition, s.zone
),
judged as (
    select
        s.*,
        l.value as limit_h,
        (epoch($as_of) - epoch(s.started_utc)) / 3600 as open_h,
        (epoch(coalesce(u.from_utc, $as_of)) - epoch(s.started_utc)) / 3600
            as proven_h,
        coalesce(u.n_holes, 0) as n_holes,
        coalesce(h.n_restored, 0) > 0 or s.says_trouble as would_tell,
        h.last_restored_utc
    from spoken as s
    inner join limits as l
        on s.account_key = l.account_key and l.name = 'open_h'
    left join habits as h
        on s.account_key = h.account_key and s.family = h.family
    left join unheard as u
        on
            s.account_key = u.account_key
            and s.family = u.family
            and s.partition = u.partition
            and s.zone = u.zone
)
select
    account_key,
    'code=' || family || ',zone=' || partition || '/' || zone as subject,
    case
        when open_h <= limit_h then 'sound'
        when not would_tell then 'not_judged'
        when proven_h > limit_h then 'finding'
        else 'not_judged'
    end as verdict,
    case
        when open_h <= limit_h then 'within the limit'
        when not would_tell then 'this account never restored a power loss'
        when proven_h > limit_h then ''
        else 'the restore may lie in hours that the log lacks'
    end as reason,
    open_h as measured,
    limit_h as limit_value,
    'h' as unit,
    started_utc as since_utc,
    $as_of as until_utc,
    started_utc as evidence_from_utc,
    $as_of as evidence_until_utc,
    last_restored_utc as last_good_utc,
    n_events as evidence_count,
    n_holes as excused_count,
    case when open_h > 3 * limit_h then 3 else 2 end as grade,
    n_events as k,
    n_events as n,
    case when n_doubt > 0 then 1 else 0 end as doubtful
from judged
