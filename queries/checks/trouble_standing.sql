-- purpose: a trouble or tamper reported and not restored
-- grain:   one row per account, family, partition and zone with an open episode
-- reads:   standing, limits
-- params:  $as_of timestamp [UTC]
-- returns: the row contract of a check; measured and limit [h]
-- Standing only where this account has restored such a condition before, or a
-- later test of its own reports a trouble: else the restore may never be sent.
-- Where the log lacks hours after its last word, the restore may lie in them:
-- then only what stood longer than the limit before those hours is a finding.
with
judged as (
    select s.*, l.value as limit_h
    from standing as s
    inner join limits as l
        on s.account_key = l.account_key and l.name = 'open_h'
    where
        s.code_group in ('trouble', 'tamper')
        or s.family in ('308', '312', '337')
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
        when not would_tell then 'this account never restored such a trouble'
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
