-- purpose: events rare enough that two numbers seldom share one by chance
-- grain:   one row per beginning or restore of four weeks
-- reads:   edge
-- params:  $as_of timestamp [UTC]
-- returns: slot_no counts minutes; is_telling false for power, paths and
--          supervision, which whole areas share
select
    account_key,
    received_utc,
    cast(floor(epoch(received_utc) / 60) as bigint) as slot_no,
    qualifier,
    code,
    zone,
    code_group not in ('power', 'path') as is_telling
from edge
where
    received_utc >= $as_of - interval 28 day
    and qualifier in ('E', 'R')
    and code_group <> 'test'
    and time_doubt = 'exact'
