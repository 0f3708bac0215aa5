-- purpose: a required test does not come although the site is heard
-- grain:   one row per heard account and test required by roster or edition
-- reads:   test_measures, heard, life, excuses, account_line_facts, accounts,
--          untold, limits
-- params:  $as_of timestamp [UTC]
-- returns: the row contract of a check; measured and limit [intervals]
-- Fires only where this log shows tests at all (of others, on the same lines),
-- and for the panel's own tests only where the log tells the boxes apart. One
-- that has come at least once is sound here: whether it still does is asked by
-- test_overdue. A test that never came is never sound, only not yet judged.
with
waiting as (
    select
        m.*,
        h.first_utc as heard_first_utc,
        h.last_utc as heard_last_utc,
        coalesce(
            m.last_test_utc,
            greatest(
                h.first_utc,
                coalesce(cast(a.installed_on as timestamp), h.first_utc)
            )
        ) as start_utc,
        i.value as intervals,
        d.value * 3600 as least_s,
        u.account_key is not null as is_untold,
        coalesce(f.n_tests_of_others, 0) as n_tests_of_others,
        coalesce(o.n_panel, 0) as n_panel
    from test_measures as m
    inner join accounts as a on m.account_key = a.account_key
    inner join heard as h on m.account_key = h.account_key
    inner join limits as i
        on m.account_key = i.account_key and i.name = 'intervals'
    inner join limits as d
        on m.account_key = d.account_key and d.name = 'least_h'
    left join untold as u on m.account_key = u.account_key and m.path <> ''
    left join account_line_facts as f
        on m.account_key = f.account_key and m.path = f.path
    left join (
        select account_key, sum(n) as n_panel
        from life
        where origin = 'panel'
        group by account_key
    ) as o on m.account_key = o.account_key
    where m.source <> 'inferred'
),
hidden as (
    select
        w.account_key,
        w.path,
        w.what,
        sum(
            epoch(least(e.until_utc, $as_of))
            - epoch(greatest(e.from_utc, w.start_utc))
        ) as hidden_s
    from waiting as w
    inner join excuses as e
        on w.account_key = e.account_key and w.path = e.path
    where e.until_utc > w.start_utc and e.from_utc < $as_of
    group by w.account_key, w.path, w.what
),
clocked as (
    select
        w.*,
        epoch($as_of) - epoch(w.start_utc) - coalesce(h.hidden_s, 0) as open_s,
        coalesce(h.hidden_s, 0) as hidden_s
    from waiting as w
    left join hidden as h
        on
            w.account_key = h.account_key
            and w.path = h.path
            and w.what = h.what
),
decided as (
    select
        *,
        open_s > intervals * seconds + grace_s
        and open_s > least_s
        and epoch(heard_last_utc) - epoch(start_utc) > seconds as is_missing,
        open_s + hidden_s > intervals * seconds + grace_s
        and open_s + hidden_s > least_s as is_long
    from clocked
)
select
    account_key,
    case
        when what = 'panel_test' then 'panel'
        when path = '' then ''
        else 'path=' || path
    end as subject,
    case
        when n_ever > 0 then 'sound'
        when is_untold then 'not_judged'
        when not is_missing then 'not_judged'
        when what = 'panel_test' and n_panel = 0 then 'not_judged'
        when n_tests_of_others = 0 then 'not_judged'
        else 'finding'
    end as verdict,
    case
        when n_ever > 0 then ''
        when is_untold then 'paths not told apart'
        when not is_missing and is_long and hidden_s > 0
            then 'excused by an incident, a test or missing log'
        when not is_missing and is_long then 'not heard for long enough'
        when not is_missing then 'heard for too short a time'
        when what = 'panel_test' and n_panel = 0 then 'origin not told apart'
        when n_tests_of_others = 0
            then 'no test of anybody in the log of these lines'
        else ''
    end as reason,
    open_s / seconds as measured,
    intervals as limit_value,
    'intervals' as unit,
    start_utc as since_utc,
    $as_of as until_utc,
    start_utc as evidence_from_utc,
    $as_of as evidence_until_utc,
    last_test_utc as last_good_utc,
    0 as evidence_count,
    case when hidden_s > 0 then 1 else 0 end as excused_count,
    case when open_s > 2 * intervals * seconds then 3 else 2 end as grade,
    0 as k,
    cast(floor(open_s / seconds) as bigint) as n,
    standing
from decided
