-- purpose: a dry contact that stays over although the panel has restored
-- grain:   one row per contact that began with its captured message and was
--          not restored
-- reads:   contact_pairs, accounts, excuses, limits
-- params:  $as_of timestamp [UTC]
-- returns: the row contract of a check; measured and limit [h] since the panel
--          restored; k restores of the panel meanwhile
-- The contact began with the panel's own message (else it is upside down, see
-- contacts_disagree), has restored before, and nothing of its kind still stands
-- by the panel's words: a second condition keeps a relay over.
with
edges as (
    select c.*
    from contact_pairs as c
    inner join accounts as a on c.account_key = a.account_key
    where a.monitored
),
stood as (
    select
        account_key,
        partition,
        zone,
        min(kind) as kind,
        min(received_utc) as started_utc,
        max(case when partner = 'fits' then 1 else 0 end) as is_paired,
        count(*) as n_events
    from edges
    where side = 'contact' and qualifier = 'E' and until_utc is null
    group by account_key, partition, zone
),
went_back as (
    select account_key, partition, zone, max(received_utc) as restored_utc
    from edges
    where side = 'contact' and qualifier = 'R'
    group by account_key, partition, zone
),
panel as (
    select
        s.account_key,
        s.partition,
        s.zone,
        count(*) filter (
            where
            e.qualifier = 'R'
            and epoch(e.received_utc) > epoch(s.started_utc) + 3
        ) as n_back,
        max(case
            when
                e.qualifier = 'R'
                and epoch(e.received_utc) > epoch(s.started_utc) + 3
                then e.received_utc
        end) as back_utc,
        count(*) filter (
            where e.qualifier = 'E' and e.until_utc is null
        ) as n_open
    from stood as s
    inner join edges as e on s.account_key = e.account_key
    where
        e.side = 'captured'
        and (
            e.kind = s.kind
            or (s.kind = 'trouble' and e.kind = 'supervisory')
        )
    group by s.account_key, s.partition, s.zone
),
lacking as (
    select
        p.account_key,
        p.partition,
        p.zone,
        count(*) as n_holes
    from panel as p
    inner join excuses as x on p.account_key = x.account_key
    where
        x.path = ''
        and x.why not in ('on_test', 'area_power_outage', 'signal_storm')
        and epoch(x.until_utc) > epoch(p.back_utc) - 180
        and x.from_utc < $as_of
    group by p.account_key, p.partition, p.zone
),
judged as (
    select
        s.*,
        coalesce(p.n_back, 0) as n_back,
        coalesce(p.n_open, 0) as n_open,
        p.back_utc,
        b.restored_utc,
        coalesce(k.n_holes, 0) as n_holes,
        l.value as limit_h,
        (epoch($as_of) - epoch(coalesce(p.back_utc, s.started_utc))) / 3600
            as open_h
    from stood as s
    inner join limits as l
        on s.account_key = l.account_key and l.name = 'open_h'
    left join panel as p
        on
            s.account_key = p.account_key
            and s.partition = p.partition
            and s.zone = p.zone
    left join went_back as b
        on
            s.account_key = b.account_key
            and s.partition = b.partition
            and s.zone = b.zone
    left join lacking as k
        on
            s.account_key = k.account_key
            and s.partition = k.partition
            and s.zone = k.zone
)
select
    account_key,
    'zone=' || partition || '/' || zone as subject,
    case
        when n_open > 0 then 'sound'
        when n_back = 0 then 'not_judged'
        when is_paired = 0 then 'not_judged'
        when open_h <= limit_h then 'sound'
        when restored_utc is null then 'not_judged'
        when n_holes > 0 then 'not_judged'
        else 'finding'
    end as verdict,
    case
        when n_open > 0 then 'the panel says that it still stands'
        when n_back = 0 then 'the panel has restored nothing of its kind since'
        when is_paired = 0 then 'it did not begin with a message of the panel'
        when open_h <= limit_h then 'within the limit'
        when restored_utc is null then 'this contact never restored'
        when n_holes > 0
            then 'the restore may lie in hours that the log lacks'
        else ''
    end as reason,
    open_h as measured,
    limit_h as limit_value,
    'h' as unit,
    started_utc as since_utc,
    $as_of as until_utc,
    started_utc as evidence_from_utc,
    $as_of as evidence_until_utc,
    restored_utc as last_good_utc,
    n_events as evidence_count,
    n_holes as excused_count,
    case when n_back >= 2 then 3 else 2 end as grade,
    n_back as k,
    n_events as n,
    case when kind = 'alarm' then 1 else 0 end as aggravated
from judged
