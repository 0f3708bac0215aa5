-- purpose: tests that fail to come again and again, between others that do
-- grain:   one row per account and required test that has come before
-- reads:   test_measures, test_odds, test_rhythm, slots, busy_tests, untold,
--          limits
-- params:  $until timestamp [UTC]
-- returns: the row contract of a check; measured and limit [% of due tests]
-- Four weeks, closed gaps only: a test that stopped for good is overdue, not
-- often missed. A finding needs enough misses, a rate that chance does not
-- explain (false discovery rate) and odds that favour a broken site. Where
-- another signal of the path stood for every single miss, and the tests that
-- came hardly ever follow other traffic, the panel puts its test off on busy
-- days, as it may. One miss with nothing in its place, or tests that come on
-- busy days too, are enough to count them all.
with
alone as (
    select
        account_key,
        path,
        what,
        count(*) as n_alone
    from slots
    where
        state = 'missed'
        and not is_open
        and not lenient_ok
        and due_utc >= $until - interval 28 day
    group by account_key, path, what
),
judged as (
    select
        m.account_key,
        m.path,
        m.what,
        m.source,
        m.standing,
        m.n_doubt,
        m.last_test_utc,
        m.excused_four_weeks,
        o.k,
        o.n,
        o.p_broken,
        o.q_value,
        o.healthy_rate,
        a.value as least,
        f.value as fdr,
        t.value as enough,
        u.account_key is not null as is_untold,
        coalesce(b.n_alone, 0) as n_alone,
        coalesce(y.n_busy, 0) * 100.0 / greatest(coalesce(y.n_tests, 0), 1)
        <= w.value as is_put_off,
        coalesce(r.period_s, 0) > 1.1 * m.seconds as is_longer
    from test_measures as m
    inner join test_odds as o
        on
            m.account_key = o.account_key
            and m.path = o.path
            and m.what = o.what
    inner join limits as a
        on m.account_key = a.account_key and a.name = 'misses'
    inner join limits as f
        on m.account_key = f.account_key and f.name = 'false_discovery'
    inner join limits as t
        on m.account_key = t.account_key and t.name = 'due'
    inner join limits as w
        on m.account_key = w.account_key and w.name = 'busy_percent'
    left join busy_tests as y
        on
            m.account_key = y.account_key
            and m.path = y.path
            and m.what = y.what
    left join alone as b
        on
            m.account_key = b.account_key
            and m.path = b.path
            and m.what = b.what
    left join test_rhythm as r
        on m.account_key = r.account_key and m.path = r.path
    left join untold as u on m.account_key = u.account_key and m.path <> ''
),
decided as (
    select
        *,
        k >= least and q_value <= fdr and p_broken >= 0.5 as is_often
    from judged
)
select
    account_key,
    case
        when what = 'panel_test' then 'panel'
        when path = '' then ''
        else 'path=' || path
    end as subject,
    case
        when is_untold or is_longer or n < enough then 'not_judged'
        when is_often and (n_alone > 0 or not is_put_off) then 'finding'
        else 'sound'
    end as verdict,
    case
        when is_untold then 'paths not told apart'
        when is_longer then 'tests keep a longer interval than required'
        when n < enough then 'too few tests due'
        when is_often and n_alone = 0 and is_put_off
            then 'another signal came instead each time'
        when k > 0 and not is_often then 'single misses'
        else ''
    end as reason,
    100.0 * k / greatest(n, 1) as measured,
    100.0 * healthy_rate as limit_value,
    '%' as unit,
    $until - interval 28 day as since_utc,
    $until as until_utc,
    $until - interval 28 day as evidence_from_utc,
    $until as evidence_until_utc,
    last_test_utc as last_good_utc,
    k as evidence_count,
    excused_four_weeks as excused_count,
    case
        when p_broken >= 0.99 then 3
        when p_broken >= 0.9 then 2
        else 1
    end as grade,
    k,
    n,
    case when source = 'inferred' then 1 else 0 end as inferred,
    case when n_doubt > 0 then 1 else 0 end as doubtful,
    standing
from decided
