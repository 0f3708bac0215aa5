-- purpose: a point bypassed, or an output disabled, and not put back
-- grain:   one row per account, family, partition and zone with an open episode
-- reads:   standing, habits, on_test, ranks_as, limits
-- params:  $as_of timestamp [UTC]
-- returns: the row contract of a check; measured and limit [h]
-- What began while on test and outlives the test was left behind: the clock
-- then starts when the last test ended, and its limit is short. Fire points and
-- disabled sounders have their own limit. Where only another kind of bypass was
-- ever put back, the finding is less sure.
with
opened as (
    select
        s.*,
        case
            when r.ranks_as = 'fire' then f.value
            when
                s.family in (
                    '571', '520', '521', '522', '523', '524', '525', '526',
                    '527'
                )
                then f.value
            else l.value
        end as limit_h,
        g.value as left_over_h
    from standing as s
    inner join limits as l
        on s.account_key = l.account_key and l.name = 'open_h'
    inner join limits as f
        on s.account_key = f.account_key and f.name = 'fire_h'
    left join ranks_as as r on s.account_key = r.account_key
    inner join limits as g
        on s.account_key = g.account_key and g.name = 'left_over_h'
    where s.code_group = 'bypass'
),
kin as (
    select account_key, max(last_restored_utc) as restored_utc
    from habits
    where code_group = 'bypass' and n_restored > 0
    group by account_key
),
begun_on_test as (
    select distinct o.account_key, o.family, o.partition, o.zone
    from opened as o
    inner join on_test as t on o.account_key = t.account_key
    where t.from_utc <= o.started_utc and t.until_utc > o.started_utc
),
ended as (
    select
        o.account_key,
        o.family,
        o.partition,
        o.zone,
        max(coalesce(t.until_utc, $as_of + interval 1 day)) as ended_utc
    from begun_on_test as b
    inner join opened as o
        on
            b.account_key = o.account_key
            and b.family = o.family
            and b.partition = o.partition
            and b.zone = o.zone
    inner join on_test as t on o.account_key = t.account_key
    where
        t.from_utc <= $as_of
        and coalesce(t.until_utc, $as_of + interval 1 day) > o.started_utc
    group by o.account_key, o.family, o.partition, o.zone
),
clocked as (
    select
        o.*,
        e.ended_utc is not null and e.ended_utc <= $as_of as is_left,
        case
            when e.ended_utc <= $as_of then e.ended_utc else o.started_utc
        end as from_utc,
        k.restored_utc as kin_restored_utc
    from opened as o
    left join ended as e
        on
            o.account_key = e.account_key
            and o.family = e.family
            and o.partition = e.partition
            and o.zone = e.zone
    left join kin as k on o.account_key = k.account_key
),
judged as (
    select
        *,
        (epoch($as_of) - epoch(from_utc)) / 3600 as counted_h,
        proven_h - (epoch(from_utc) - epoch(started_utc)) / 3600 as told_h,
        case when is_left then left_over_h else limit_h end as allowed_h
    from clocked
)
select
    account_key,
    'code=' || family || ',zone=' || partition || '/' || zone as subject,
    case
        when counted_h <= allowed_h then 'sound'
        when not would_tell and kin_restored_utc is null then 'not_judged'
        when told_h > allowed_h then 'finding'
        else 'not_judged'
    end as verdict,
    case
        when counted_h <= allowed_h then 'within the limit'
        when not would_tell and kin_restored_utc is null
            then 'this account never put a bypass back'
        when told_h > allowed_h and is_left
            then 'it began while on test and outlived it'
        when told_h > allowed_h then ''
        else 'the restore may lie in hours that the log lacks'
    end as reason,
    counted_h as measured,
    allowed_h as limit_value,
    'h' as unit,
    from_utc as since_utc,
    $as_of as until_utc,
    started_utc as evidence_from_utc,
    $as_of as evidence_until_utc,
    coalesce(last_restored_utc, kin_restored_utc) as last_good_utc,
    n_events as evidence_count,
    n_holes as excused_count,
    case when counted_h > 3 * allowed_h then 3 else 2 end as grade,
    n_events as k,
    n_events as n,
    case
        when family in ('571', '521', '522', '526', '527') then 1 else 0
    end as aggravated,
    case when would_tell then 0 else 1 end as inferred,
    case when n_doubt > 0 then 1 else 0 end as doubtful
from judged
