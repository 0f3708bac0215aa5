-- purpose: only the dry contacts report, the captured message never comes
-- grain:   one row per account whose dry contacts were heard
-- reads:   contact_pairs, accounts, zones, excuses, limits
-- params:  $as_of timestamp [UTC]
-- returns: the row contract of a check; measured and limit [events]
-- Counted are contacts that began after the last captured message and have no
-- captured partner. A trouble contact goes at once where the panel waits with
-- its own report of mains: it counts only once it stood longer than that delay
-- and no captured trouble came in it. On test and in an incident none counts.
with
begun as (
    select
        c.account_key,
        c.kind,
        c.code,
        c.partition,
        c.zone,
        c.received_utc,
        c.until_utc,
        c.partner,
        w.value as wait_s,
        d.value * 3600 as delay_s
    from contact_pairs as c
    inner join accounts as a on c.account_key = a.account_key
    inner join limits as w
        on c.account_key = w.account_key and w.name = 'wait_s'
    inner join limits as d
        on c.account_key = d.account_key and d.name = 'delay_h'
    where a.monitored and c.side = 'contact' and c.qualifier = 'E'
),
excused as (
    select
        b.account_key,
        b.partition,
        b.zone,
        b.code,
        b.received_utc,
        count(*) as n_spans
    from begun as b
    inner join excuses as x
        on
            b.account_key = x.account_key
            and b.received_utc >= x.from_utc - interval 180 second
            and b.received_utc < x.until_utc
    group by
        b.account_key, b.partition, b.zone, b.code, b.received_utc
),
later as (
    select
        b.account_key,
        b.partition,
        b.zone,
        b.code,
        b.received_utc,
        count(*) as n_later
    from begun as b
    inner join contact_pairs as c on b.account_key = c.account_key
    where
        b.kind = 'trouble'
        and c.side = 'captured'
        and c.received_utc >= b.received_utc
        and epoch(c.received_utc) - epoch(b.received_utc)
        <= b.delay_s + b.wait_s
    group by
        b.account_key, b.partition, b.zone, b.code, b.received_utc
),
captured as (
    select
        account_key,
        max(case when side = 'captured' then received_utc end) as last_utc,
        sum(case when side = 'captured' then 1 else 0 end) as n_captured,
        sum(case when side = 'unclear' then 1 else 0 end) as n_unclear
    from contact_pairs
    group by account_key
),
panel_zones as (
    select account_key, count(*) as n_zones
    from zones
    where kind not in ('communicator', 'contact_input', 'user')
    group by account_key
),
weighed as (
    select
        b.*,
        e.n_spans is not null as is_excused,
        b.partner = ''
        and e.n_spans is null
        and l.n_later is null
        and (p.last_utc is null or b.received_utc > p.last_utc)
        and epoch(coalesce(b.until_utc, $as_of)) - epoch(b.received_utc)
        > case when b.kind = 'trouble' then b.delay_s else 0 end
        and epoch($as_of) - epoch(b.received_utc) > b.wait_s as is_lone
    from begun as b
    left join captured as p on b.account_key = p.account_key
    left join excused as e
        on
            b.account_key = e.account_key
            and b.partition = e.partition
            and b.zone = e.zone
            and b.code = e.code
            and b.received_utc = e.received_utc
    left join later as l
        on
            b.account_key = l.account_key
            and b.partition = l.partition
            and b.zone = l.zone
            and b.code = l.code
            and b.received_utc = l.received_utc
),
counted as (
    select
        account_key,
        count(*) as n_begun,
        count(*) filter (where is_lone) as n_lone,
        count(*) filter (where is_lone and kind = 'alarm') as n_lone_alarms,
        count(*) filter (where is_excused) as n_excused,
        min(case when is_lone then received_utc end) as first_utc,
        max(received_utc) as last_utc
    from weighed
    group by account_key
),
judged as (
    select
        c.*,
        p.last_utc as captured_utc,
        p.n_captured,
        p.n_unclear,
        e.value as limit_n,
        f.value as limit_alarms,
        a.has_contacts = 'yes'
        or a.panel_test_s is not null
        or z.n_zones is not null as is_promised
    from counted as c
    inner join accounts as a on c.account_key = a.account_key
    inner join captured as p on c.account_key = p.account_key
    inner join limits as e
        on c.account_key = e.account_key and e.name = 'events'
    inner join limits as f
        on c.account_key = f.account_key and f.name = 'alarms'
    left join panel_zones as z on c.account_key = z.account_key
)
select
    account_key,
    '' as subject,
    case
        when not is_promised then 'not_judged'
        when n_unclear > 0 then 'not_judged'
        when n_lone >= limit_n or n_lone_alarms >= limit_alarms then 'finding'
        when n_captured = 0 then 'not_judged'
        else 'sound'
    end as verdict,
    case
        when not is_promised
            then 'the roster does not say that the panel reports itself'
        when n_unclear > 0 then 'origin not told apart'
        when n_lone >= limit_n or n_lone_alarms >= limit_alarms then ''
        when n_captured = 0 and n_lone = 0 and n_excused > 0
            then 'only while on test or in an incident'
        when n_captured = 0 then 'too few events'
        when n_lone > 0 then 'few events'
        else ''
    end as reason,
    cast(n_lone as double) as measured,
    limit_n as limit_value,
    'events' as unit,
    coalesce(first_utc, last_utc) as since_utc,
    $as_of as until_utc,
    coalesce(captured_utc, first_utc, last_utc) as evidence_from_utc,
    $as_of as evidence_until_utc,
    captured_utc as last_good_utc,
    n_begun as evidence_count,
    n_excused as excused_count,
    case
        when n_lone < limit_n then 1
        when n_lone >= 2 * limit_n then 3
        else 2
    end as grade,
    n_lone_alarms as k,
    n_lone as n
from judged
