-- purpose: a telephone line reported as cut and not as back
-- grain:   one row per account and line-fault code with an open episode
-- reads:   episodes, habits, trouble_tests, excuses, shared_losses, accounts,
--          limits
-- params:  $as_of timestamp [UTC]
-- returns: the row contract of a check; measured and limit [h]
-- Standing only where this account has restored such a condition before, or a
-- later test of its own reports a trouble: else the restore may never be sent.
-- Where the log lacks hours after its last word, the restore may lie in them:
-- then only what stood longer than the limit before those hours is a finding.
-- A cut that began in an outage that many accounts share counts from its end.
with
open_now as (
    select
        e.account_key,
        e.family,
        min(e.path) as path,
        min(e.started_utc) as started_utc,
        max(e.last_event_utc) as last_event_utc,
        sum(e.n_events) as n_events,
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
        min(greatest(x.from_utc, s.last_word_utc)) as from_utc,
        count(distinct x.incident_id) as n_holes
    from spoken as s
    inner join excuses as x
        on s.account_key = x.account_key and s.path = x.path
    where
        x.why not in ('on_test', 'area_power_outage', 'signal_storm')
        and x.until_utc > s.last_word_utc
        and x.from_utc < $as_of
    group by s.account_key, s.family
),
struck as (
    select
        s.account_key,
        s.family,
        max(g.until_utc) as until_utc
    from spoken as s
    inner join shared_losses as g
        on
            s.account_key = g.account_key
            and s.family = g.family
            and s.started_utc = g.started_utc
    group by s.account_key, s.family
),
judged as (
    select
        s.*,
        coalesce(
            (epoch(k.until_utc) - epoch(s.started_utc)) / 3600, 0
        ) as excused_h,
        case when k.until_utc is null then 0 else 1 end as n_shared,
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
    left join struck as k
        on s.account_key = k.account_key and s.family = k.family
)
select
    account_key,
    'code=' || family as subject,
    case
        when open_h <= limit_h then 'sound'
        when open_h - excused_h <= limit_h then 'not_judged'
        when not would_tell then 'not_judged'
        when proven_h - excused_h > limit_h then 'finding'
        else 'not_judged'
    end as verdict,
    case
        when open_h <= limit_h then 'within the limit'
        when open_h - excused_h <= limit_h
            then 'began in an outage that many accounts share'
        when not would_tell then 'this account never restored a line fault'
        when proven_h - excused_h > limit_h then ''
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
    n_holes + n_shared as excused_count,
    case when open_h - excused_h > 3 * limit_h then 3 else 2 end as grade,
    n_events as k,
    n_events as n,
    case when n_doubt > 0 then 1 else 0 end as doubtful
from judged
