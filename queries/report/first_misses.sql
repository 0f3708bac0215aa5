-- purpose: tests missed in the window of which no finding speaks: single
--          misses are noise, and still counted
-- grain:   one row per account, path and required test
-- reads:   kept_test_measures, kept_slots, all_accounts, told_of
-- params:  $from, $until timestamp [UTC]
-- returns: k missed of n due in the window, both strict, excused ones in
--          neither; when the last of them was due. path '' is any path of the
--          account. Left out is what a finding about tests or a silence tells
with
missed as (
    select account_key, path, what, max(due_utc) as last_missed_utc
    from kept_slots
    where state = 'missed' and due_utc >= $from and due_utc < $until
    group by account_key, path, what
),
told as (
    select distinct m.account_key, m.path, m.what
    from missed as m
    inner join told_of as f on m.account_key = f.account_key
    where
        f.subject = ''
        or (f.subject = 'panel' and m.what = 'panel_test')
        or (f.subject = 'path=' || m.path and m.what = 'test')
)
select
    m.account_key,
    split_part(m.account_key, '/', 2) as account,
    coalesce(a.site, '') as site,
    m.path,
    m.what,
    cast(t.k_window as bigint) as k,
    cast(t.k_window + t.n_window as bigint) as n,
    m.last_missed_utc
from missed as m
inner join kept_test_measures as t
    on m.account_key = t.account_key and m.path = t.path and m.what = t.what
left join all_accounts as a on m.account_key = a.account_key
left join told as f
    on m.account_key = f.account_key and m.path = f.path and m.what = f.what
where f.account_key is null
order by m.account_key, m.path, m.what
