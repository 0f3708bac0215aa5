-- purpose: a dry contact says something else than the captured message
-- grain:   one row per contact of an account with captured messages
-- reads:   contact_pairs, accounts, limits
-- params:  $as_of timestamp [UTC]
-- returns: the row contract of a check; measured and limit [pairs]; the reason
--          names the disagreement
-- Counted are the edges of the contact since the last one that fitted: began
-- when the panel restored (inverted), or another kind of event. Two contacts of
-- an account that each stand for the other's kind are crossed, else the input
-- has the wrong type. Pairs made on test count: an inspection shows most.
with
edges as (
    select c.*
    from contact_pairs as c
    inner join accounts as a on c.account_key = a.account_key
    where a.monitored and c.side = 'contact'
),
fitted as (
    select account_key, partition, zone, max(received_utc) as fitted_utc
    from edges
    where partner = 'fits'
    group by account_key, partition, zone
),
boxes as (
    select
        account_key,
        sum(case when side = 'captured' then 1 else 0 end) as n_captured,
        sum(case when side = 'unclear' then 1 else 0 end) as n_unclear
    from contact_pairs
    group by account_key
),
run as (
    select
        e.account_key,
        e.partition,
        e.zone,
        min(e.kind) as kind,
        max(f.fitted_utc) as fitted_utc,
        count(*) filter (
            where
            e.partner = 'opposite'
            and (f.fitted_utc is null or e.received_utc > f.fitted_utc)
        ) as n_opposite,
        count(*) filter (
            where
            e.partner = 'other_kind'
            and (f.fitted_utc is null or e.received_utc > f.fitted_utc)
        ) as n_other,
        max(case
            when
                e.partner = 'other_kind'
                and (f.fitted_utc is null or e.received_utc > f.fitted_utc)
                then e.partner_kind
        end) as partner_kind,
        min(case
            when
                e.partner in ('opposite', 'other_kind')
                and (f.fitted_utc is null or e.received_utc > f.fitted_utc)
                then e.received_utc
        end) as first_utc,
        max(e.received_utc) as last_utc
    from edges as e
    left join fitted as f
        on
            e.account_key = f.account_key
            and e.partition = f.partition
            and e.zone = f.zone
    group by e.account_key, e.partition, e.zone
),
crossed as (
    select distinct r.account_key, r.partition, r.zone
    from run as r
    inner join run as o
        on
            r.account_key = o.account_key
            and r.kind = o.partner_kind
            and r.partner_kind = o.kind
),
judged as (
    select
        r.*,
        greatest(r.n_opposite, r.n_other) as n_wrong,
        x.account_key is not null as is_crossed,
        b.n_captured,
        b.n_unclear,
        l.value as limit_n
    from run as r
    inner join boxes as b on r.account_key = b.account_key
    inner join limits as l
        on r.account_key = l.account_key and l.name = 'pairs'
    left join crossed as x
        on
            r.account_key = x.account_key
            and r.partition = x.partition
            and r.zone = x.zone
)
select
    account_key,
    'zone=' || partition || '/' || zone as subject,
    case
        when n_wrong >= limit_n then 'finding'
        when fitted_utc is null then 'not_judged'
        else 'sound'
    end as verdict,
    case
        when n_wrong >= limit_n and n_opposite >= n_other
            then 'inverted: it begins when the panel restores'
        when n_wrong >= limit_n and is_crossed
            then 'crossed: ' || kind || ' for ' || partner_kind
        when n_wrong >= limit_n
            then 'wrong type: ' || kind || ' for ' || partner_kind
        when fitted_utc is null and n_captured = 0 and n_unclear > 0
            then 'origin not told apart'
        when fitted_utc is null and n_wrong > 0 then 'too few pairs'
        when fitted_utc is null then 'no pair with a captured message yet'
        when n_wrong > 0 then 'single pairs'
        else ''
    end as reason,
    cast(n_wrong as double) as measured,
    limit_n as limit_value,
    'pairs' as unit,
    coalesce(first_utc, fitted_utc, last_utc) as since_utc,
    $as_of as until_utc,
    coalesce(first_utc, fitted_utc, last_utc) as evidence_from_utc,
    $as_of as evidence_until_utc,
    fitted_utc as last_good_utc,
    n_wrong as evidence_count,
    0 as excused_count,
    case when n_wrong >= 2 * limit_n then 3 else 2 end as grade,
    n_wrong as k,
    n_wrong as n,
    case
        when kind = 'alarm' or coalesce(partner_kind, '') = 'alarm' then 1
        else 0
    end as aggravated
from judged
