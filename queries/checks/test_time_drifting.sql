-- purpose: a test that comes a little later, or earlier, every day
-- grain:   one row per monitored account and path with a test clock: of the
--          boxes that test on it the one that drifts most
-- reads:   test_drift, accounts, untold, limits
-- params:  none
-- returns: the row contract of a check; measured and limit [min a week]
-- A clock that was set or lost makes a step, not a line: not a drift.
with
worst as (
    select
        d.*,
        case
            when d.drift_s_per_day < 0 then -d.drift_s_per_day
            else d.drift_s_per_day
        end * 7 / 60 as min_a_week,
        epoch(d.last_utc) - epoch(d.first_utc) as span_s,
        u.account_key is not null as is_untold
    from test_drift as d
    inner join accounts as a on d.account_key = a.account_key
    left join untold as u on d.account_key = u.account_key
    where a.monitored
    qualify
        row_number() over (
            partition by d.account_key, d.path
            order by
                case
                    when d.drift_s_per_day < 0 then -d.drift_s_per_day
                    else d.drift_s_per_day
                end desc,
                d.origin
        ) = 1
),
judged as (
    select
        w.*,
        l.value as most,
        case
            when w.is_untold and w.path = '' then 'paths not told apart'
            when w.n < 10 or w.span_s < 27 * 86400
                then 'tests of less than four weeks'
            when w.largest_step_s > 600 then 'step'
            when w.spread_s > 120 then 'loose'
            when w.min_a_week > l.value then 'finding'
            else 'sound'
        end as state
    from worst as w
    inner join limits as l
        on w.account_key = l.account_key and l.name = 'min_a_week'
)
select
    account_key,
    case when path = '' then '' else 'path=' || path end as subject,
    case
        when state = 'finding' then 'finding'
        when state in ('sound', 'step', 'loose') then 'sound'
        else 'not_judged'
    end as verdict,
    case
        when state in ('finding', 'sound') then ''
        when state = 'step' then 'moved in a step, not little by little'
        when state = 'loose' then 'keeps no minute'
        else state
    end as reason,
    min_a_week as measured,
    most as limit_value,
    'min a week' as unit,
    first_utc as since_utc,
    last_utc as until_utc,
    first_utc as evidence_from_utc,
    last_utc as evidence_until_utc,
    cast(null as timestamp) as last_good_utc,
    n as evidence_count,
    0 as excused_count,
    case when spread_s <= 60 and min_a_week > 2 * most then 3 else 2 end
        as grade,
    n as k,
    n
from judged
