-- purpose: gives every signal its meaning, folds resends and links copies
-- grain:   one row per signal
-- reads:   signals, codes
-- params:  none
-- returns: the columns that facts and checks need; text columns stay in signals
-- A resend is the same event of the same account, code, group, zone and
-- qualifier on the same receiver within 60 s with no opposite qualifier
-- between: the panel did not hear the acknowledgement and sent again. It is
-- marked, never deleted. A numbered frame is a resend where number, account,
-- receiver and event are those of one not more than 60 s before, whatever came
-- between; another number is another message. A second receiver is a copy, not
-- a resend. A contact input within 90 s of a captured message of its group (or
-- class of troubles) and qualifier says the same by the transmitter's own
-- wires: its copy_kind is contact_copy, the captured message stays the event.
-- All rules stay inside one UTC day: a day's facts depend on that day alone.
with
known as (
    select
        code as known_code,
        class as known_class,
        code_group as known_group,
        family as known_family,
        test_kind as known_test_kind,
        restorable as known_restorable
    from codes
),
checked_in as (
    select
        account_key,
        receiver_group,
        account,
        received_utc,
        cast(received_utc as date) as utc_day,
        time_doubt,
        edge_doubt,
        receiver,
        line,
        event_raw,
        qualifier,
        code,
        format,
        partition,
        zone,
        path,
        origin,
        source_id,
        line_no,
        part,
        'check_in' as event_class,
        'check_in' as code_group,
        '' as family,
        '' as test_kind,
        'no' as restorable,
        false as is_resend,
        '' as copy_kind
    from signals
    where format = 'check_in'
),
meaning as (
    select
        account_key,
        receiver_group,
        account,
        received_utc,
        cast(received_utc as date) as utc_day,
        time_doubt,
        edge_doubt,
        receiver,
        line,
        event_raw,
        qualifier,
        code,
        format,
        partition,
        zone,
        path,
        origin,
        source_id,
        line_no,
        part,
        sequence,
        coalesce(known_class, 'unknown') as event_class,
        coalesce(known_group, 'unknown') as code_group,
        coalesce(known_family, code) as family,
        coalesce(known_test_kind, '') as test_kind,
        coalesce(known_restorable, 'no') as restorable
    from signals
    left join known on code = known_code and code <> ''
    where format <> 'check_in'
),
numbered as (
    select
        source_id,
        line_no,
        part,
        received_utc,
        lag(received_utc) over (
            partition by
                account_key, receiver, sequence, event_raw, code, qualifier,
                partition, zone, format
            order by received_utc, source_id, line_no, part
        ) as before_utc
    from signals
    where sequence <> '' and format <> 'check_in'
),
sent_twice as (
    select source_id, line_no, part
    from numbered
    where
        epoch(received_utc) - epoch(before_utc) <= 60
        and cast(received_utc as date) = cast(before_utc as date)
),
contacts as (
    select
        s.account_key,
        s.received_utc,
        s.qualifier,
        s.source_id,
        s.line_no,
        s.part,
        k.known_class,
        k.known_group
    from signals as s
    inner join known as k on s.code = k.known_code
    where s.format = 'contact_input' and s.code <> ''
),
captured as (
    select
        s.account_key,
        s.received_utc,
        s.qualifier,
        k.known_class,
        k.known_group
    from signals as s
    inner join known as k on s.code = k.known_code
    where
        s.format not in ('contact_input', 'check_in')
        and s.code <> ''
        and s.account_key in (select account_key from contacts)
),
told_by_both as (
    select distinct c.source_id, c.line_no, c.part
    from contacts as c
    inner join captured as m
        on
            c.account_key = m.account_key
            and c.qualifier = m.qualifier
            and cast(c.received_utc as date) = cast(m.received_utc as date)
            and epoch(c.received_utc) - epoch(m.received_utc)
            between -90 and 90
            and (
                (c.known_group = m.known_group and c.known_group <> 'other')
                or (
                    c.known_class = m.known_class
                    and c.known_class like 'trouble-%'
                )
            )
),
before as (
    select
        *,
        lag(received_utc) over same as before_utc,
        lag(qualifier) over same as before_qualifier,
        lag(event_raw) over same as before_raw,
        lag(receiver) over same as before_receiver,
        lag(format) over same as before_format,
        lag(path) over same as before_path,
        lag(utc_day) over same as before_day
    from meaning
    window same as (
        partition by account_key, code, partition, zone
        order by received_utc, source_id, line_no, part
    )
),
judged as (
    select
        b.*,
        t.line_no is not null as is_sent_twice,
        c.line_no is not null as is_told_by_both,
        before_utc is not null
        and before_day = utc_day
        and before_qualifier = qualifier
        and before_raw = event_raw
        and epoch(received_utc) - epoch(before_utc) <= 60 as is_repeat
    from before as b
    left join sent_twice as t
        on
            b.source_id = t.source_id
            and b.line_no = t.line_no
            and b.part = t.part
    left join told_by_both as c
        on
            b.source_id = c.source_id
            and b.line_no = c.line_no
            and b.part = c.part
)
select
    account_key,
    receiver_group,
    account,
    received_utc,
    utc_day,
    time_doubt,
    edge_doubt,
    receiver,
    line,
    event_raw,
    qualifier,
    code,
    format,
    partition,
    zone,
    path,
    origin,
    source_id,
    line_no,
    part,
    event_class,
    code_group,
    family,
    test_kind,
    restorable,
    is_sent_twice
    or (
        is_repeat
        and sequence = ''
        and before_receiver = receiver
        and before_format = format
        and before_path = path
    ) as is_resend,
    case
        when is_told_by_both then 'contact_copy'
        when is_repeat and 'contact_input' in (format, before_format) then ''
        when is_repeat and before_receiver <> receiver then 'other_receiver'
        when is_repeat and before_path <> path then 'other_path'
        else ''
    end as copy_kind
from judged
union all
select
    account_key,
    receiver_group,
    account,
    received_utc,
    utc_day,
    time_doubt,
    edge_doubt,
    receiver,
    line,
    event_raw,
    qualifier,
    code,
    format,
    partition,
    zone,
    path,
    origin,
    source_id,
    line_no,
    part,
    event_class,
    code_group,
    family,
    test_kind,
    restorable,
    is_resend,
    copy_kind
from checked_in
