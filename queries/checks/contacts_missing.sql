-- purpose: captured messages come without the copy by dry contact
-- grain:   one row per account and kind of contact that it should have
-- reads:   contact_pairs, accounts, excuses, limits
-- params:  $as_of timestamp [UTC]
-- returns: the row contract of a check; measured and limit [events]
-- Of each kind the captured beginnings since the last one with a contact. One
-- that comes while another of its kind stands makes no new contact. The alarm
-- contact is owed where the roster says so or it was heard once; others only
-- for codes that have moved the contact before, for that is a choice of wiring.
-- On test, where relays may be off on purpose, and in an incident none counts.
with
kinds as (
    select
        c.account_key,
        c.kind,
        max(case when a.has_contacts = 'yes' then 1 else 0 end) as is_wired,
        sum(case when c.side = 'contact' then 1 else 0 end) as n_contacts,
        sum(case when c.side = 'unclear' then 1 else 0 end) as n_unclear,
        max(case
            when c.side = 'captured' and c.partner = 'fits'
                then c.received_utc
        end) as fitted_utc
    from contact_pairs as c
    inner join accounts as a on c.account_key = a.account_key
    where a.monitored and c.kind in ('alarm', 'supervisory', 'trouble')
    group by c.account_key, c.kind
),
owed_codes as (
    select account_key, kind, code, count(*) as n_fits
    from contact_pairs
    where side = 'captured' and partner = 'fits'
    group by account_key, kind, code
),
begun as (
    select
        account_key,
        kind,
        code,
        partition,
        zone,
        received_utc,
        partner,
        max(coalesce(until_utc, received_utc + interval 24 hour)) over (
            partition by account_key, kind
            order by received_utc, code, partition, zone
            rows between unbounded preceding and 1 preceding
        ) as busy_until_utc
    from contact_pairs
    where side = 'captured' and qualifier = 'E'
),
excused as (
    select
        b.account_key,
        b.kind,
        b.code,
        b.partition,
        b.zone,
        b.received_utc,
        count(*) as n_spans
    from begun as b
    inner join excuses as x
        on
            b.account_key = x.account_key
            and b.received_utc >= x.from_utc
            and b.received_utc < x.until_utc + interval 180 second
    group by
        b.account_key, b.kind, b.code, b.partition, b.zone, b.received_utc
),
counted as (
    select
        b.account_key,
        b.kind,
        count(*) filter (where x.n_spans is null) as n_lone,
        count(x.n_spans) as n_excused,
        min(case when x.n_spans is null then b.received_utc end) as first_utc,
        max(b.received_utc) as last_utc
    from begun as b
    inner join kinds as k
        on b.account_key = k.account_key and b.kind = k.kind
    left join owed_codes as o
        on
            b.account_key = o.account_key
            and b.kind = o.kind
            and b.code = o.code
    left join excused as x
        on
            b.account_key = x.account_key
            and b.kind = x.kind
            and b.code = x.code
            and b.partition = x.partition
            and b.zone = x.zone
            and b.received_utc = x.received_utc
    where
        b.partner = ''
        and (b.busy_until_utc is null or b.busy_until_utc < b.received_utc)
        and (k.fitted_utc is null or b.received_utc > k.fitted_utc)
        and (b.kind = 'alarm' or o.n_fits is not null)
        and epoch($as_of) - epoch(b.received_utc) > 180
    group by b.account_key, b.kind
),
judged as (
    select
        k.account_key,
        k.kind,
        k.n_contacts,
        k.n_unclear,
        k.fitted_utc,
        k.n_contacts > 0 or (k.is_wired = 1 and k.kind = 'alarm') as is_owed,
        coalesce(c.n_lone, 0) as n_lone,
        coalesce(c.n_excused, 0) as n_excused,
        c.first_utc,
        c.last_utc,
        l.value as limit_n
    from kinds as k
    inner join limits as l
        on k.account_key = l.account_key and l.name = 'events'
    left join counted as c
        on k.account_key = c.account_key and k.kind = c.kind
)
select
    account_key,
    'contact=' || kind as subject,
    case
        when not is_owed then 'not_judged'
        when n_unclear > 0 then 'not_judged'
        when n_lone >= limit_n then 'finding'
        when fitted_utc is null then 'not_judged'
        else 'sound'
    end as verdict,
    case
        when not is_owed then 'no contact of this kind was ever heard'
        when n_unclear > 0 then 'origin not told apart'
        when n_lone >= limit_n then ''
        when fitted_utc is null and n_lone = 0 and n_excused > 0
            then 'only while on test or in an incident'
        when fitted_utc is null then 'too few events'
        when n_lone > 0 then 'few events'
        else ''
    end as reason,
    cast(n_lone as double) as measured,
    limit_n as limit_value,
    'events' as unit,
    coalesce(first_utc, fitted_utc, last_utc) as since_utc,
    $as_of as until_utc,
    coalesce(fitted_utc, first_utc, last_utc) as evidence_from_utc,
    $as_of as evidence_until_utc,
    fitted_utc as last_good_utc,
    n_lone as evidence_count,
    n_excused as excused_count,
    case when n_lone >= 2 * limit_n then 3 else 2 end as grade,
    n_lone as k,
    n_lone as n,
    case when kind = 'alarm' then 1 else 0 end as aggravated
from judged
