-- purpose: tests keep a steady interval that is longer than the required one
-- grain:   one row per account and path with a test required by roster or
--          edition
-- reads:   requirements, test_rhythm, untold, limits
-- params:  $as_of timestamp [UTC]
-- returns: the row contract of a check; measured and limit [h]
with
judged as (
    select
        q.account_key,
        q.path,
        q.seconds,
        q.standing,
        r.period_s,
        r.n as n_tests,
        r.single_step_share,
        r.first_utc,
        r.last_utc,
        1 + l.value / 100.0 as slack,
        u.account_key is not null as is_untold
    from requirements as q
    inner join limits as l
        on q.account_key = l.account_key and l.name = 'slack_percent'
    inner join test_rhythm as r
        on q.account_key = r.account_key and q.path = r.path
    left join untold as u on q.account_key = u.account_key and q.path <> ''
    where q.what = 'test' and q.source <> 'inferred'
)
select
    account_key,
    case when path = '' then '' else 'path=' || path end as subject,
    case
        when is_untold or period_s is null then 'not_judged'
        when period_s > seconds * slack then 'finding'
        else 'sound'
    end as verdict,
    case
        when is_untold then 'paths not told apart'
        when period_s is null then 'no steady interval found'
        else ''
    end as reason,
    period_s / 3600 as measured,
    seconds / 3600 as limit_value,
    'h' as unit,
    first_utc as since_utc,
    $as_of as until_utc,
    first_utc as evidence_from_utc,
    $as_of as evidence_until_utc,
    last_utc as last_good_utc,
    n_tests as evidence_count,
    0 as excused_count,
    case when n_tests >= 10 and single_step_share >= 0.8 then 3 else 2 end
        as grade,
    0 as k,
    n_tests as n,
    standing
from judged
