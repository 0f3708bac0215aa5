-- purpose: tests that are always a few minutes over their interval
-- grain:   one row per path with a test interval by roster or edition
-- reads:   test_lateness, untold, limits
-- params:  none
-- returns: the row contract of a check; measured and limit [share of tests]
with
judged as (
    select
        q.*,
        q.n_late * 1.0 / q.n_gaps as late_share,
        n.value as least,
        s.value as least_share,
        u.account_key is not null as is_untold
    from test_lateness as q
    inner join limits as n
        on q.account_key = n.account_key and n.name = 'tests'
    inner join limits as s
        on q.account_key = s.account_key and s.name = 'share'
    left join untold as u on q.account_key = u.account_key and q.path <> ''
)
select
    account_key,
    case when path = '' then '' else 'path=' || path end as subject,
    case
        when is_untold or n_gaps < least then 'not_judged'
        when late_share >= least_share then 'finding'
        else 'sound'
    end as verdict,
    case
        when is_untold then 'paths not told apart'
        when n_gaps < least then 'too few tests'
        else ''
    end as reason,
    late_share as measured,
    least_share as limit_value,
    'share' as unit,
    first_utc as since_utc,
    last_utc as until_utc,
    first_utc as evidence_from_utc,
    last_utc as evidence_until_utc,
    cast(null as timestamp) as last_good_utc,
    n_gaps as evidence_count,
    0 as excused_count,
    case when n_late = n_gaps and n_gaps >= 2 * least then 3 else 2 end
        as grade,
    n_late as k,
    n_gaps as n,
    standing
from judged
