-- purpose: dry contacts of a transmitter beside the captured messages of the
--          panel: which edge of the one has its partner in the other
-- grain:   one row per edge (E or R) of a contact, and of a captured alarm,
--          supervisory condition or trouble, of accounts with contacts
-- reads:   accounts, edge, zones
-- params:  none
-- returns: side contact, captured or unclear (box not told apart); kind alarm,
--          other_alarm, supervisory or trouble; until_utc the next restore of
--          a beginning; partner fits, opposite, other_kind or '' (none);
--          partner_kind what it was instead, partner_s [s] how long after the
--          contact its partner came. A contact needs no dialing, so it
--          leads: its partner is the nearest captured edge of its kind within
--          180 s after it. A captured beginning fits where a contact of its
--          kind was on within 180 s of it. A supervisory condition may share
--          the trouble contact
with
wired as (
    select account_key from accounts where has_contacts = 'yes'
    union
    select account_key from edge where format = 'contact_input'
    union
    select e.account_key
    from edge as e
    inner join zones as z
        on
            e.account_key = z.account_key
            and e.partition = z.partition
            and e.zone = z.zone
    where z.kind = 'contact_input'
),
sided as (
    select
        e.account_key,
        case
            when e.format = 'contact_input' or z.account_key is not null
                then 'contact'
            when e.origin = 'panel' then 'captured'
            when e.origin = 'unknown' then 'unclear'
            else 'other'
        end as side,
        case
            when e.code_group = 'alarm_fire' then 'alarm'
            when e.code_group like 'alarm_%' then 'other_alarm'
            when e.code_group = 'supervisory' then 'supervisory'
            else 'trouble'
        end as kind,
        e.code,
        e.partition,
        e.zone,
        e.qualifier,
        e.received_utc,
        row_number() over (
            partition by e.account_key
            order by
                e.received_utc, e.source_id, e.line_no,
                e.code, e.qualifier, e.partition, e.zone
        ) as place
    from edge as e
    inner join wired as w on e.account_key = w.account_key
    left join zones as z
        on
            e.account_key = z.account_key
            and e.partition = z.partition
            and e.zone = z.zone
            and z.kind = 'contact_input'
    where
        e.qualifier in ('E', 'R')
        and (
            e.code_group like 'alarm_%'
            or e.code_group in ('supervisory', 'trouble', 'power')
        )
),
spans as (
    select
        *,
        min(case when qualifier = 'R' then received_utc end) over (
            partition by account_key, side, kind, partition, zone
            order by place
            rows between 1 following and unbounded following
        ) as back_utc
    from sided
    where side <> 'other'
),
candidates as (
    select
        k.account_key,
        k.place,
        k.kind,
        k.qualifier,
        c.place as c_place,
        c.kind as c_kind,
        c.qualifier as c_qualifier,
        c.received_utc as c_received_utc,
        k.received_utc,
        k.kind = c.kind or (k.kind = 'trouble' and c.kind = 'supervisory')
            as is_kind
    from spans as k
    inner join spans as c on k.account_key = c.account_key
    where
        k.side = 'contact'
        and c.side = 'captured'
        and epoch(c.received_utc) >= epoch(k.received_utc) - 2
        and epoch(c.received_utc) <= epoch(k.received_utc) + 180
),
nearest as (
    select *
    from candidates
    qualify
        row_number() over (
            partition by account_key, place, is_kind
            order by c_place
        ) = 1
),
claimed as (
    select distinct account_key, c_place
    from candidates
    where is_kind
),
of_contacts as (
    select
        n.account_key,
        n.place,
        max(case
            when n.is_kind and n.qualifier = n.c_qualifier then 'fits'
            when n.is_kind then 'opposite'
        end) as by_kind,
        max(case
            when
                not n.is_kind
                and n.qualifier = n.c_qualifier
                and m.account_key is null
                then n.c_kind
        end) as instead,
        min(case
            when n.is_kind
                then epoch(n.c_received_utc) - epoch(n.received_utc)
        end) as lag_s
    from nearest as n
    left join claimed as m
        on n.account_key = m.account_key and n.c_place = m.c_place
    group by n.account_key, n.place
),
of_captured as (
    select
        c.account_key,
        c.place,
        count(*) as n_on
    from spans as c
    inner join spans as k on c.account_key = k.account_key
    where
        c.side = 'captured'
        and c.qualifier = 'E'
        and k.side = 'contact'
        and k.qualifier = 'E'
        and (k.kind = c.kind or (k.kind = 'trouble' and c.kind = 'supervisory'))
        and epoch(k.received_utc) <= epoch(c.received_utc) + 180
        and (
            k.back_utc is null
            or epoch(k.back_utc) >= epoch(c.received_utc) - 180
        )
    group by c.account_key, c.place
)
select
    s.account_key,
    s.side,
    s.kind,
    s.code,
    s.partition,
    s.zone,
    s.qualifier,
    s.received_utc,
    case when s.qualifier = 'E' then s.back_utc end as until_utc,
    case
        when s.side = 'contact' and k.by_kind is not null then k.by_kind
        when s.side = 'contact' and k.instead is not null then 'other_kind'
        when s.side = 'captured' and c.n_on is not null then 'fits'
        else ''
    end as partner,
    coalesce(case when k.by_kind is null then k.instead end, '')
        as partner_kind,
    k.lag_s as partner_s
from spans as s
left join of_contacts as k
    on
        s.side = 'contact'
        and s.account_key = k.account_key
        and s.place = k.place
left join of_captured as c
    on
        s.side = 'captured'
        and s.account_key = c.account_key
        and s.place = c.place
