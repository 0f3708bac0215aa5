-- purpose: a stray number that is probably a known account's, typed wrong
-- grain:   one row per rostered account and stray number near its own
-- reads:   near_numbers, limits
-- params:  none
-- returns: the row contract of a check; measured and limit [signs]
-- Signs: dates that meet count two; system type, zones, receiver line and test
-- clock one each. A mechanical rule or swapped neighbours count one, the
-- roster's own word for the panel's number two; one digit or a wrong length
-- take one away, for numbers of a block differ so by design.
with
scored as (
    select
        n.*,
        l.value as least,
        2 * greatest(n.date_fit, 0) + greatest(n.type_fit, 0)
        + greatest(n.zone_fit, 0) + n.line_fit + n.clock_fit
        + case
            when n.how = 'panel' then 2
            when n.how in ('cut', 'hex', 'swap') then 1
            else -1
        end as signs,
        least(n.date_fit, n.type_fit, n.zone_fit) < 0 as is_against
    from near_numbers as n
    inner join limits as l
        on n.account_key = l.account_key and l.name = 'signs'
),
fitting as (
    select peer_key, count(*) as n_fitting, max(signs) as most
    from scored
    where signs >= least and not is_against
    group by peer_key
),
judged as (
    select
        s.*,
        coalesce(f.n_fitting, 0) as n_fitting,
        s.signs = f.most as is_best
    from scored as s
    left join fitting as f on s.peer_key = f.peer_key
)
select
    account_key,
    'peer=' || peer_key as subject,
    case
        when is_against then 'sound'
        when signs < least then 'not_judged'
        when n_ever < 2 and n_alarm_window = 0 then 'not_judged'
        when not is_best then 'not_judged'
        else 'finding'
    end as verdict,
    case
        when is_against then 'dates, zones or system type speak against it'
        when signs < least then 'near in digits, too few other signs'
        when n_ever < 2 and n_alarm_window = 0
            then 'one signal: it may be a damaged number'
        when not is_best then 'another account fits better'
        when how = 'panel' then 'the roster names it as the panel''s number'
        when how = 'cut' then 'its last four digits'
        when how = 'hex' then 'a letter sent as 0'
        when how = 'swap' then 'two neighbouring digits swapped'
        when how = 'digit' then 'one digit differs'
        else 'one digit too few or too many'
    end as reason,
    cast(signs as double) as measured,
    least as limit_value,
    'signs' as unit,
    first_utc as since_utc,
    last_utc as until_utc,
    first_utc as evidence_from_utc,
    last_utc as evidence_until_utc,
    twin_last_utc as last_good_utc,
    n_ever as evidence_count,
    0 as excused_count,
    case
        when n_fitting = 1 and date_fit = 1 and signs >= least + 1 then 3
        when n_fitting = 1 then 2
        else 1
    end as grade,
    n_fitting as k,
    n_ever as n,
    case when n_alarm_window > 0 then 1 else 0 end as aggravated
from judged
