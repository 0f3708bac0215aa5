-- purpose: the transmitter speaks, the panel behind it does not
-- grain:   one row per monitored account whose transmitter is heard by itself
-- reads:   accounts, panel_signs, requirements, station, excuses,
--          limits
-- params:  $as_of timestamp [UTC]
-- returns: the row contract of a check; measured and limit [h]
-- Fires where a signal of the panel was due: a panel test the roster asks for,
-- a test clock the panel used to keep, a contact that closed without its
-- message, openings it used to send, if nothing else of it comes either. Else a
-- long quiet is "not proven since" and a note. What may be the panel's (origin
-- unknown) counts as the panel's.
-- P(0 days with openings in L | d days in T) = (T / (T + L)) ^ (d + 1/2).
with
asked as (
    select account_key, min(seconds) as seconds, min(grace_s) as grace_s
    from requirements
    where what = 'panel_test'
    group by account_key
),
base as (
    select
        s.*,
        a.installed_on,
        q.seconds,
        q.grace_s,
        greatest(
            coalesce(s.last_panel_utc, s.last_unknown_utc),
            coalesce(s.last_unknown_utc, s.last_panel_utc)
        ) as last_utc,
        greatest(
            t.data_first_utc, coalesce(a.installed_on, t.data_first_utc)
        ) as begin_utc,
        i.value as intervals,
        o.value * 86400 as opening_s,
        c.value as chance,
        p.value * 86400 as proof_s
    from panel_signs as s
    inner join accounts as a on s.account_key = a.account_key
    cross join station as t
    left join asked as q on s.account_key = q.account_key
    inner join limits as i
        on s.account_key = i.account_key and i.name = 'intervals'
    inner join limits as o
        on s.account_key = o.account_key and o.name = 'opening_days'
    inner join limits as c
        on s.account_key = c.account_key and c.name = 'chance'
    inner join limits as p
        on s.account_key = p.account_key and p.name = 'proof_days'
    where a.monitored
),
started as (
    select
        *,
        coalesce(last_utc, begin_utc) as since_utc,
        epoch($as_of) - epoch(coalesce(last_utc, begin_utc)) as gap_s
    from base
),
hidden as (
    select
        e.account_key,
        max(case when e.why = 'on_test' and e.until_utc >= $as_of
            then 1 else 0 end) as on_test_now,
        sum(case when e.why <> 'on_test' then
            epoch(least(e.until_utc, $as_of))
            - epoch(greatest(e.from_utc, s.since_utc))
        else 0 end) as hidden_s
    from excuses as e
    inner join started as s on e.account_key = s.account_key
    where
        e.path = ''
        and e.until_utc > s.since_utc
        and e.from_utc < $as_of
    group by e.account_key
),
clocked as (
    select
        s.*,
        coalesce(h.hidden_s, 0) as hidden_s,
        coalesce(h.on_test_now, 0) as on_test_now,
        s.gap_s - coalesce(h.hidden_s, 0) as open_s,
        case
            when s.seconds is not null
                then s.seconds * s.intervals + s.grace_s
            when s.panel_period_s is not null
                then s.panel_period_s * s.intervals + 3600
        end as test_limit_s,
        greatest(
            epoch(s.last_open_utc) - epoch(s.first_open_utc), 86400
        ) as open_life_s,
        greatest(epoch($as_of) - epoch(s.last_open_utc)
        - coalesce(h.hidden_s, 0), 0) as shut_s
    from started as s
    left join hidden as h on s.account_key = h.account_key
),
weighed as (
    select
        *,
        coalesce(
            open_days > 0
            and shut_s > opening_s
            and open_s > opening_s
            and power(open_life_s / (open_life_s + shut_s), open_days + 0.5)
            <= chance, false
        ) as lost_openings,
        n_alarm_copies > 0 or n_copies >= 3 as lost_messages,
        coalesce(open_s > test_limit_s, false) as lost_tests,
        coalesce(gap_s > test_limit_s, false) as quiet_tests,
        coalesce(n_panel = 0 and n_unknown > 0, false) as is_untold
    from clocked
),
judged as (
    select
        *,
        case
            when on_test_now = 1 and (lost_tests or lost_messages)
                then 'on test'
            when
                not lost_messages
                and gap_s > coalesce(test_limit_s, opening_s)
                and 2 * (epoch(last_box_utc) - epoch(since_utc))
                <= coalesce(test_limit_s, opening_s)
                then 'the transmitter is not heard after it either'
            when is_untold and gap_s <= coalesce(test_limit_s, proof_s)
                then 'origin not told apart'
            when is_untold and seconds is null then 'origin not told apart'
            when lost_tests or lost_messages or lost_openings then 'due'
            when quiet_tests then 'excused by an incident or missing log'
            when open_s > proof_s then 'unproven'
            when test_limit_s is null and gap_s > proof_s
                then 'excused by an incident or missing log'
            else 'sound'
        end as state
    from weighed
)
select
    account_key,
    '' as subject,
    case
        when state in ('due', 'unproven') then 'finding'
        when state = 'sound' then 'sound'
        else 'not_judged'
    end as verdict,
    case
        when state = 'unproven' then 'nothing was due: not proven since'
        when state = 'due' and lost_messages
            then 'contacts closed without their message'
        when state = 'due' and not lost_tests then 'its openings stopped'
        when state in ('due', 'sound') then ''
        else state
    end as reason,
    open_s / 3600 as measured,
    case
        when state = 'unproven' then proof_s
        when state = 'due' and lost_messages and not lost_tests then 180
        when state = 'due' and not lost_tests then opening_s
        else coalesce(test_limit_s, proof_s)
    end / 3600 as limit_value,
    'h' as unit,
    since_utc,
    $as_of as until_utc,
    since_utc as evidence_from_utc,
    $as_of as evidence_until_utc,
    last_utc as last_good_utc,
    n_box as evidence_count,
    case when hidden_s > 0 then 1 else 0 end as excused_count,
    case
        when state = 'due' and n_panel > 0 and n_unknown = 0
            and (open_s > 2 * test_limit_s or lost_messages)
            then 3
        when state = 'due' then 2
        else 1
    end as grade,
    n_copies as k,
    n_panel as n,
    case when state = 'due' then 1 else 0 end as aggravated,
    case
        when seconds is null and state = 'due' and not lost_messages then 1
        else 0
    end as inferred,
    case when seconds is not null then 'roster' else '' end as standing
from judged
