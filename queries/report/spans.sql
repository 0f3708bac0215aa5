-- purpose: what shades an account's timeline: on test, holes, open conditions
-- grain:   one row per page and span
-- reads:   all_on_test, kept_excuses, kept_episodes, asked, codes
-- params:  $from, $until timestamp [UTC]
-- returns: until_utc is null while the span is open
with
spans as (
    select
        a.page_no,
        'on_test' as kind,
        t.reason as label,
        t.from_utc,
        t.until_utc
    from all_on_test as t
    inner join asked as a on t.account_key = a.account_key
    where t.from_utc < $until
    union all
    select
        a.page_no,
        case when e.why = 'export_gap' then 'coverage_hole' else 'incident' end
            as kind,
        replace(e.why, '_', ' ') as label,
        e.from_utc,
        e.until_utc
    from kept_excuses as e
    inner join asked as a on e.account_key = a.account_key
    where e.path = '' and e.why <> 'on_test'
    union all
    select
        a.page_no,
        'episode' as kind,
        p.family || ' ' || coalesce(c.label, '') as label,
        p.started_utc as from_utc,
        p.restored_utc as until_utc
    from kept_episodes as p
    inner join asked as a on p.account_key = a.account_key
    left join codes as c on p.code = c.code
    where coalesce(p.restored_utc, $until) >= $from - interval 28 day
)
select page_no, kind, label, from_utc, until_utc
from spans
order by page_no, kind, label, from_utc, until_utc
