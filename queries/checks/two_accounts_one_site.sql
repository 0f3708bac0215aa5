-- purpose: one site that reports under two numbers
-- grain:   one row per pair of numbers that told the same things together
-- reads:   co_timed, limits
-- params:  none
-- returns: the row contract of a check; measured and limit [events]
-- Asked for: events shared within a minute (same code, zone and qualifier) on
-- two days at least, some of a kind that no area shares, and that most of what
-- the quieter number said was said by both.
with
judged as (
    select
        c.*,
        p.value as least,
        t.value as least_telling,
        s.value as least_share,
        c.n_pairs * 1.0 / c.n_smaller as share
    from co_timed as c
    inner join limits as p
        on c.account_key = p.account_key and p.name = 'pairs'
    inner join limits as t
        on c.account_key = t.account_key and t.name = 'telling_pairs'
    inner join limits as s
        on c.account_key = s.account_key and s.name = 'share'
    where not c.same_site
)
select
    account_key,
    'peer=' || peer_key as subject,
    case
        when n_telling < least_telling or n_days < 2 then 'sound'
        when share < least_share then 'sound'
        when is_coarse then 'not_judged'
        when n_pairs >= least then 'finding'
        else 'not_judged'
    end as verdict,
    case
        when n_telling < least_telling then 'what an area shares'
        when n_days < 2 then 'together on one day only'
        when share < least_share then 'each says much that the other does not'
        when is_coarse then 'the log tells minutes only'
        when n_pairs >= least then ''
        else 'too few events together'
    end as reason,
    cast(n_pairs as double) as measured,
    least as limit_value,
    'events' as unit,
    first_utc as since_utc,
    last_utc as until_utc,
    first_utc as evidence_from_utc,
    last_utc as evidence_until_utc,
    cast(null as timestamp) as last_good_utc,
    n_pairs as evidence_count,
    0 as excused_count,
    case
        when n_pairs >= 2 * least and n_telling >= least then 3 else 2
    end as grade,
    n_pairs as k,
    n_smaller as n,
    case when both_listed then 0 else 1 end as aggravated
from judged
