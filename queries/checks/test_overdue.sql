-- purpose: a test is overdue at the end of the window, and nothing else came
-- grain:   one row per account and required test that has come before
-- reads:   test_measures, test_rhythm, untold, calendar, limits
-- params:  $as_of timestamp [UTC]
-- returns: the row contract of a check; measured and limit [h]
-- Lateness counts from the previous counting signal, never from a fixed hour.
-- Another signal over the same path stands for the test (lenient count); but a
-- test that kept its clock time although other signals came, and then stops,
-- has stopped: after several misses in a row it is overdue all the same. When
-- clocks went back since, a panel that keeps wall time has that hour more.
-- aggravated from the second in a row on: one miss is ordinary noise, which a
-- life-safety account shows nevertheless.
with
timed as (
    select
        *,
        greatest(last_test_utc, coalesce(last_sign_utc, last_test_utc))
            as sign_utc
    from test_measures
    where n_ever > 0
),
judged as (
    select
        m.*,
        epoch($as_of) - epoch(m.sign_utc) as sign_gap_s,
        greatest(coalesce(b.offset_s - c.offset_s, 0), 0) as back_s,
        l.value as misses,
        t.value as strict_misses,
        coalesce(r.period_s, 0) > 0
        and r.period_s <= 1.1 * m.seconds as kept_time,
        u.account_key is not null as is_untold
    from timed as m
    inner join limits as l
        on m.account_key = l.account_key and l.name = 'misses'
    inner join limits as t
        on m.account_key = t.account_key and t.name = 'strict_misses'
    left join test_rhythm as r
        on m.account_key = r.account_key and m.path = r.path
    left join untold as u on m.account_key = u.account_key and m.path <> ''
    left join calendar as b
        on m.sign_utc >= b.from_utc and m.sign_utc < b.until_utc
    left join calendar as c
        on $as_of >= c.from_utc and $as_of < c.until_utc
),
counted as (
    select
        *,
        least(
            open_misses_lenient,
            case
                when sign_gap_s <= seconds + grace_s + back_s then 0
                else floor((sign_gap_s - grace_s - back_s) / seconds)
            end
        ) as n_lost
    from judged
),
decided as (
    select
        *,
        n_lost >= misses as is_lost,
        kept_time and open_misses >= strict_misses as has_stopped
    from counted
)
select
    account_key,
    case
        when what = 'panel_test' then 'panel'
        when path = '' then ''
        else 'path=' || path
    end as subject,
    case
        when is_untold then 'not_judged'
        when is_lost or has_stopped then 'finding'
        when open_misses_lenient = 0 and open_excused > 0
            and open_misses = 0 then 'not_judged'
        else 'sound'
    end as verdict,
    case
        when is_untold then 'paths not told apart'
        when is_lost or has_stopped then ''
        when n_lost > 0 then 'first miss'
        when open_misses > 0 and sign_utc > last_test_utc
            then 'another signal came instead'
        when open_misses > 0 then 'within the hour of the clock change'
        when open_excused > 0 then 'excused by an incident or missing log'
        else ''
    end as reason,
    case
        when is_lost or not has_stopped then sign_gap_s / 3600
        else (epoch($as_of) - epoch(last_test_utc)) / 3600
    end as measured,
    (seconds + grace_s) / 3600 as limit_value,
    'h' as unit,
    case
        when is_lost or not has_stopped then sign_utc
        else last_test_utc
    end as since_utc,
    $as_of as until_utc,
    last_test_utc as evidence_from_utc,
    $as_of as evidence_until_utc,
    last_test_utc as last_good_utc,
    open_misses as evidence_count,
    open_excused as excused_count,
    case
        when n_lost >= 2 then 3
        when is_lost or open_misses >= 2 * strict_misses then 2
        else 1
    end as grade,
    open_misses as k,
    open_misses + open_excused as n,
    case when n_lost >= 2 or has_stopped then 1 else 0 end as aggravated,
    case when source = 'inferred' then 1 else 0 end as inferred,
    case when n_doubt > 0 then 1 else 0 end as doubtful,
    standing
from decided
