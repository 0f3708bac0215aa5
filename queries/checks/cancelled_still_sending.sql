-- purpose: a number that goes on sending after the roster says it ended
-- grain:   one row per cancelled account heard in the window
-- reads:   after_end, limits
-- params:  none
-- returns: the row contract of a check; measured and limit [signals]
with
judged as (
    select e.*, l.value as least
    from after_end as e
    inner join limits as l
        on e.account_key = l.account_key and l.name = 'signals'
)
select
    account_key,
    '' as subject,
    case
        when cancelled_on is null then 'not_judged'
        when n_after >= least or n_alarms_after > 0 then 'finding'
        when n_after > 0 then 'not_judged'
        else 'sound'
    end as verdict,
    case
        when cancelled_on is null
            then 'the roster does not say since when it is cancelled'
        when n_after >= least or n_alarms_after > 0 then ''
        when n_after > 0 then 'too few signals: it may be a damaged number'
        else ''
    end as reason,
    cast(n_after as double) as measured,
    least as limit_value,
    'signals' as unit,
    first_after_utc as since_utc,
    last_utc as until_utc,
    first_after_utc as evidence_from_utc,
    last_utc as evidence_until_utc,
    cast(cancelled_on as timestamp) as last_good_utc,
    n_after as evidence_count,
    0 as excused_count,
    case
        when n_tests_after >= least or n_after >= 3 * least then 3 else 2
    end as grade,
    n_alarms_after as k,
    n_after as n,
    case when n_alarms_after > 0 then 1 else 0 end as aggravated
from judged
