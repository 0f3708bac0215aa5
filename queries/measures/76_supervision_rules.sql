-- purpose: how soon a path's failure must be noticed by the edition in force
-- grain:   one row per path of a fire account for which its edition has a rule
-- reads:   accounts, paths, edition_rules
-- params:  none
-- returns: seconds [s]; standing standard, or memory where the figure has not
--          been read in the standard or a page quoting it
with
counted as (
    select account_key, count(*) as n_paths
    from paths
    group by account_key
)
select
    p.account_key,
    p.path,
    min(e.seconds) as seconds,
    min(case when e.known = 'seen' then 'standard' else 'memory' end)
        as standing,
    min(e.rule_id) as rule_id
from paths as p
inner join accounts as a on p.account_key = a.account_key
inner join counted as c on p.account_key = c.account_key
inner join edition_rules as e
    on
        a.edition = e.edition
        and a.system_type = e.system_type
        and p.kind = e.kind
        and (
            e.paths = 'any'
            or (e.paths = 'one' and c.n_paths = 1)
            or (e.paths = 'several' and c.n_paths > 1)
        )
where a.monitored and e.quantity = 'supervision_s'
group by p.account_key, p.path
