-- purpose: an account whose last words were of lost power, and then nothing
-- grain:   one row per monitored account with a power loss it never restored,
--          begun shortly before its last sign of life
-- reads:   accounts, heard, episodes, visible_requirements, test_measures,
--          test_rhythm, excuses, limits
-- params:  $as_of timestamp [UTC]
-- returns: the row contract of a check; measured and limit [h]
-- One interval is enough here: the site has said itself why it may be dead.
-- Where nothing is due, a day of silence counts only if the account's own past
-- makes it improbable: P(0 days heard in L | d days heard in T)
-- = (T / (T + L)) ^ (d + 1/2), the gamma-Poisson prediction.
with
silent as (
    select
        a.account_key,
        h.first_utc,
        h.last_utc,
        h.days_heard,
        w.value * 3600 as within_s,
        o.value * 3600 as no_interval_s,
        p.value as chance,
        greatest(epoch(h.last_utc) - epoch(h.first_utc), 86400) as life_s,
        epoch($as_of) - epoch(h.last_utc) as gap_s
    from accounts as a
    inner join heard as h on a.account_key = h.account_key
    inner join limits as w
        on a.account_key = w.account_key and w.name = 'within_h'
    inner join limits as o
        on a.account_key = o.account_key and o.name = 'no_interval_h'
    inner join limits as p
        on a.account_key = p.account_key and p.name = 'chance'
    where a.monitored
),
lost as (
    select
        s.account_key,
        min(e.started_utc) as lost_utc,
        max(case when e.family = '301' then 1 else 0 end) as is_mains,
        max(case when e.family = '301' then 0 else 1 end) as is_battery,
        sum(e.n_events) as n_events,
        sum(e.n_doubt) as n_doubt
    from silent as s
    inner join episodes as e on s.account_key = e.account_key
    where
        e.family in ('301', '302', '308')
        and e.restored_utc is null
        and epoch(s.last_utc) - epoch(e.started_utc) <= s.within_s
    group by s.account_key
),
due as (
    select
        v.account_key,
        min(greatest(v.seconds, coalesce(r.period_s, 0)) + v.grace_s) as due_s,
        max(case when v.source = 'inferred' then 1 else 0 end) as inferred
    from visible_requirements as v
    inner join lost as l on v.account_key = l.account_key
    left join test_measures as m
        on
            v.account_key = m.account_key
            and v.path = m.path
            and v.what = m.what
    left join test_rhythm as r
        on v.account_key = r.account_key and v.path = r.path
    where
        (v.what = 'supervision' or m.n_ever > 0)
        and (v.standing <> 'memory' or r.period_s is not null)
    group by v.account_key
),
hidden as (
    select
        e.account_key,
        max(case when e.why = 'on_test' and e.until_utc >= $as_of
            then 1 else 0 end) as on_test_now,
        sum(case when e.why <> 'on_test' then
            epoch(least(e.until_utc, $as_of))
            - epoch(greatest(e.from_utc, s.last_utc))
        else 0 end) as hidden_s
    from excuses as e
    inner join silent as s on e.account_key = s.account_key
    where
        e.path = ''
        and e.until_utc > s.last_utc
        and e.from_utc < $as_of
    group by e.account_key
),
clocked as (
    select
        s.*,
        l.lost_utc,
        l.is_mains,
        l.is_battery,
        l.n_events,
        l.n_doubt,
        d.due_s,
        d.inferred,
        coalesce(d.due_s, s.no_interval_s) as limit_s,
        coalesce(h.hidden_s, 0) as hidden_s,
        coalesce(h.on_test_now, 0) as on_test_now,
        s.gap_s - coalesce(h.hidden_s, 0) as open_s,
        power(
            s.life_s
            / (s.life_s + greatest(s.gap_s - coalesce(h.hidden_s, 0), 0)),
            s.days_heard + 0.5
        ) as p_silence
    from silent as s
    inner join lost as l on s.account_key = l.account_key
    left join due as d on s.account_key = d.account_key
    left join hidden as h on s.account_key = h.account_key
),
judged as (
    select
        *,
        case
            when gap_s <= limit_s then 'sound'
            when on_test_now = 1 then 'still on test'
            when open_s <= limit_s then 'excused by an incident or missing log'
            when due_s is null and p_silence > chance
                then 'no interval known and seldom heard'
            else 'finding'
        end as state
    from clocked
)
select
    account_key,
    '' as subject,
    case
        when state in ('sound', 'finding') then state else 'not_judged'
    end as verdict,
    case when state in ('sound', 'finding') then '' else state end as reason,
    open_s / 3600 as measured,
    limit_s / 3600 as limit_value,
    'h' as unit,
    last_utc as since_utc,
    $as_of as until_utc,
    lost_utc as evidence_from_utc,
    $as_of as evidence_until_utc,
    last_utc as last_good_utc,
    n_events as evidence_count,
    case when hidden_s > 0 then 1 else 0 end as excused_count,
    case when is_mains = 1 and is_battery = 1 then 3 else 2 end as grade,
    0 as k,
    0 as n,
    case when inferred = 1 then 1 else 0 end as inferred,
    case when n_doubt > 0 then 1 else 0 end as doubtful
from judged
