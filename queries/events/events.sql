-- purpose: gives every signal its meaning and folds exact resends
-- grain:   one row per signal
-- reads:   signals, codes
-- params:  none
-- returns: the columns that facts and checks need; text columns stay in signals
-- A resend is the same event of the same account, code, group, zone and
-- qualifier on the same receiver within 60 s with no opposite qualifier
-- between: the panel did not hear the acknowledgement and sent again. It is
-- marked, never deleted. A second receiver is a copy, not a resend. The rule
-- stays inside one UTC day, so that a day's facts depend on that day alone.
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
        coalesce(known_class, 'unknown') as event_class,
        coalesce(known_group, 'unknown') as code_group,
        coalesce(known_family, code) as family,
        coalesce(known_test_kind, '') as test_kind,
        coalesce(known_restorable, 'no') as restorable
    from signals
    left join known on code = known_code and code <> ''
    where format <> 'check_in'
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
        order by received_utc, source_id, line_no
    )
),
judged as (
    select
        *,
        before_utc is not null
        and before_day = utc_day
        and before_qualifier = qualifier
        and before_raw = event_raw
        and epoch(received_utc) - epoch(before_utc) <= 60 as is_repeat
    from before
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
    event_class,
    code_group,
    family,
    test_kind,
    restorable,
    is_repeat
    and before_receiver = receiver
    and before_format = format
    and before_path = path as is_resend,
    case
        when is_repeat and before_format <> format then 'contact_copy'
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
    event_class,
    code_group,
    family,
    test_kind,
    restorable,
    is_resend,
    copy_kind
from checked_in
