-- purpose: the visits to the accounts that have a page, known at $as_of
-- grain:   one row per page and row of the visit sheet
-- reads:   all_visits, asked
-- params:  none
-- returns: when, by whom, what was found, whether it was put right
select
    a.page_no,
    v.visited_on,
    v.technician,
    v.found,
    v.fixed,
    v.note
from all_visits as v
inner join asked as a on v.account_key = a.account_key
order by a.page_no, v.visited_on, v.technician, v.found, v.fixed, v.note
