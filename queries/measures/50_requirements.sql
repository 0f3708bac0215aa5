-- purpose: how often a path, or the panel behind it, must show itself
-- grain:   one row per account, path and what (test, panel_test, supervision)
-- reads:   accounts, paths, edition_rules, rhythm, limits, heard_as
-- params:  none
-- returns: seconds [s], grace_s [s], source roster, edition or inferred,
--          standing roster, standard, memory or own past. A dialer's test by
--          edition applies to phone paths of fire accounts only, and only where
--          no path of the account is supervised: a dialer captured by another
--          listed transmitter comes under that path's supervision instead
with
judged as (
    select account_key, system_type, edition
    from accounts
    where monitored
),
by_roster as (
    select
        p.account_key, p.path, 'test' as what, p.test_s as seconds,
        'roster' as source, 'roster' as standing, '' as rule_id
    from paths as p
    inner join judged as j on p.account_key = j.account_key
    where p.test_s is not null
    union all
    select
        p.account_key, p.path, 'supervision' as what,
        p.supervision_s as seconds,
        'roster' as source, 'roster' as standing, '' as rule_id
    from paths as p
    inner join judged as j on p.account_key = j.account_key
    where p.supervision_s is not null
    union all
    select
        a.account_key, '' as path, 'panel_test' as what,
        a.panel_test_s as seconds,
        'roster' as source, 'roster' as standing, '' as rule_id
    from accounts as a
    inner join judged as j on a.account_key = j.account_key
    where a.panel_test_s is not null
),
by_edition as (
    select
        p.account_key, p.path, 'test' as what, e.seconds,
        'edition' as source,
        case when e.known = 'seen' then 'standard' else 'memory' end
            as standing,
        e.rule_id
    from paths as p
    inner join judged as j on p.account_key = j.account_key
    inner join edition_rules as e
        on
            j.edition = e.edition
            and p.kind = e.kind
            and j.system_type = e.system_type
    left join (
        select account_key
        from paths
        where supervision_s is not null
        group by account_key
    ) as v on p.account_key = v.account_key
    where
        p.test_s is null
        and v.account_key is null
        and e.quantity = 'test_s'
),
stated as (
    select account_key, path, what, seconds, source, standing, rule_id
    from by_roster
    union all
    select account_key, path, what, seconds, source, standing, rule_id
    from by_edition
),
inferred as (
    select
        r.account_key, r.path, 'test' as what, r.period_s as seconds,
        'inferred' as source, 'own past' as standing, '' as rule_id
    from rhythm as r
    inner join judged as j on r.account_key = j.account_key
    left join stated as s
        on
            r.account_key = s.account_key
            and r.path = s.path
            and s.what = 'test'
    where r.period_s is not null and s.account_key is null
),
untold as (
    select distinct account_key
    from heard_as
    where not told
),
as_a_whole as (
    select
        s.account_key, '' as path, 'test' as what,
        min(s.seconds) as seconds,
        min(s.source) as source, min(s.standing) as standing,
        min(s.rule_id) as rule_id
    from stated as s
    inner join untold as u on s.account_key = u.account_key
    where s.what = 'test'
    group by s.account_key
),
everything as (
    select account_key, path, what, seconds, source, standing, rule_id
    from stated
    union all
    select account_key, path, what, seconds, source, standing, rule_id
    from as_a_whole
    union all
    select
        i.account_key, i.path, i.what, min(i.seconds) as seconds,
        i.source, i.standing, i.rule_id
    from inferred as i
    left join as_a_whole as w
        on i.account_key = w.account_key and i.path = w.path
    where w.account_key is null
    group by
        i.account_key, i.path, i.what, i.source, i.standing, i.rule_id
)
select
    e.account_key,
    e.path,
    e.what,
    e.seconds,
    greatest(
        case
            when e.what = 'supervision' then least(g.value, e.seconds / 4.0)
            else g.value
        end,
        e.seconds * s.value / 100.0
    ) as grace_s,
    e.source,
    e.standing,
    e.rule_id
from everything as e
inner join limits as g
    on
        e.account_key = g.account_key
        and g.check_id = 'test_overdue'
        and g.name = 'grace_s'
inner join limits as s
    on
        e.account_key = s.account_key
        and s.check_id = 'test_overdue'
        and s.name = 'grace_percent'
order by e.account_key, e.path, e.what
