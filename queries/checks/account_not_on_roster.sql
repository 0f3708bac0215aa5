-- purpose: a number that is heard and that the roster does not know
-- grain:   one row per heard account without a roster row
-- reads:   heard, accounts, limits
-- params:  none
-- returns: the row contract of a check; measured and limit [signals]
with
stray as (
    select
        h.account_key,
        h.first_utc,
        h.last_utc,
        h.n_window,
        h.n_alarm_window,
        l.value as least
    from heard as h
    inner join limits as l
        on h.account_key = l.account_key and l.name = 'signals'
    left join accounts as a on h.account_key = a.account_key
    where
        a.account_key is null
        and h.n_window > 0
        and h.account_key not like '%/'
)
select
    account_key,
    '' as subject,
    case
        when n_window >= least or n_alarm_window > 0 then 'finding'
        else 'not_judged'
    end as verdict,
    case
        when n_window >= least or n_alarm_window > 0 then ''
        else 'too few signals: it may be a damaged number'
    end as reason,
    cast(n_window as double) as measured,
    least as limit_value,
    'signals' as unit,
    first_utc as since_utc,
    last_utc as until_utc,
    first_utc as evidence_from_utc,
    last_utc as evidence_until_utc,
    cast(null as timestamp) as last_good_utc,
    n_window as evidence_count,
    0 as excused_count,
    case when n_window >= 3 * least then 3 else 2 end as grade,
    n_alarm_window as k,
    n_window as n,
    case when n_alarm_window > 0 then 1 else 0 end as aggravated
from stray
