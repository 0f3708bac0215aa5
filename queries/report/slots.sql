-- purpose: due tests one by one: came, did not come, could not be expected
-- grain:   one row per account, path, kind of test and due or received time
-- reads:   kept_slots, kept_received_slots, asked
-- params:  $from timestamp [UTC]
-- returns: state received, missed or excused, and by what. Accounts with a page
--          from 28 days before the window, the others for the window
with
told as (
    select
        account_key, path, what, due_utc, state, why
    from kept_slots
    union all
    select
        account_key, path, what, received_utc as due_utc,
        'received' as state, '' as why
    from kept_received_slots
)
select
    a.page_no,
    t.account_key,
    t.path,
    t.what as origin,
    t.due_utc,
    t.state,
    t.why as excused_by
from told as t
left join asked as a on t.account_key = a.account_key
where a.page_no is not null or t.due_utc >= $from
order by t.account_key, t.path, t.what, t.due_utc, t.state
