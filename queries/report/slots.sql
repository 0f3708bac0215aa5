-- purpose: due tests that did not come, of the accounts that have a page
-- grain:   one row per page, path, kind of test and due time
-- reads:   kept_slots, asked
-- params:  none
-- returns: state missed or excused, and by what
select
    a.page_no,
    s.account_key,
    s.path,
    s.what as origin,
    s.due_utc,
    s.state,
    s.why as excused_by
from kept_slots as s
inner join asked as a on s.account_key = a.account_key
order by a.page_no, s.path, s.what, s.due_utc
