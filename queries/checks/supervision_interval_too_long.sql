-- purpose: a path is supervised more slowly than it must be
-- grain:   one row per path with a supervision interval on the roster
-- reads:   paths, accounts, requirements, supervision_rules, check_in_gaps,
--          life, excuses, untold, ranks_as, limits
-- params:  $from, $until timestamp [UTC]
-- returns: the row contract of a check; measured and limit [h]
-- Two ways to see it, and no third: the roster's interval against the edition
-- in force, and logged check-ins that all come at one longer interval. How fast
-- a receiver reports a loss is not in the log. A roster that names a longer
-- interval may be an older site to which the edition does not apply; check-ins
-- that really come too seldom on a life-safety path weigh more.
with
supervised as (
    select
        r.account_key,
        r.path,
        r.seconds as roster_s,
        q.seconds as rule_s,
        q.standing as rule_standing,
        t.ranks_as in ('fire', 'combined', 'medical', 'holdup') as is_life,
        u.account_key is not null as is_untold,
        g.value as least_gaps,
        s.value as share_percent,
        w.value as spread_percent
    from requirements as r
    inner join paths as p
        on r.account_key = p.account_key and r.path = p.path
    inner join accounts as a on r.account_key = a.account_key
    inner join limits as g
        on r.account_key = g.account_key and g.name = 'gaps'
    inner join limits as s
        on r.account_key = s.account_key and s.name = 'share_percent'
    inner join limits as w
        on r.account_key = w.account_key and w.name = 'spread_percent'
    left join supervision_rules as q
        on r.account_key = q.account_key and r.path = q.path
    left join untold as u on r.account_key = u.account_key
    left join ranks_as as t on r.account_key = t.account_key
    where a.monitored and r.what = 'supervision'
),
gaps as (
    select
        account_key,
        path,
        count(*) as n_gaps,
        avg(gap_s) as mean_s,
        coalesce(stddev_samp(gap_s), 0) as spread_s,
        sum(
            epoch(least(until_utc, cast($until as timestamp)))
            - epoch(greatest(from_utc, cast($from as timestamp)))
        ) as covered_s,
        min(from_utc) as first_utc
    from check_in_gaps
    where excused_s = 0 and not is_open and missed > 0
    group by account_key, path
),
seen as (
    select account_key, path, sum(n) as n, max(last_utc) as last_utc
    from life
    where sign = 'check_in'
    group by account_key, path
),
lacking as (
    select
        account_key,
        path,
        sum(
            epoch(least(until_utc, cast($until as timestamp)))
            - epoch(greatest(from_utc, cast($from as timestamp)))
        ) as lacking_s
    from excuses
    where until_utc > $from and from_utc < $until
    group by account_key, path
),
judged as (
    select
        s.*,
        coalesce(k.lacking_s, 0) as lacking_s,
        epoch(cast($until as timestamp)) - epoch(cast($from as timestamp))
            as window_s,
        coalesce(g.n_gaps, 0) as n_gaps,
        g.mean_s,
        g.first_utc,
        v.last_utc as last_seen_utc,
        coalesce(v.n, 0) as n_seen,
        coalesce(
            g.n_gaps >= s.least_gaps
            and g.spread_s * 100 <= s.spread_percent * g.mean_s
            and g.covered_s * 100 >= s.share_percent * (
                epoch(cast($until as timestamp))
                - epoch(cast($from as timestamp))
                - coalesce(k.lacking_s, 0)
            ),
            false
        ) as is_slow,
        coalesce(s.roster_s > s.rule_s, false) as is_over_rule
    from supervised as s
    left join gaps as g
        on s.account_key = g.account_key and s.path = g.path
    left join seen as v
        on s.account_key = v.account_key and s.path = v.path
    left join lacking as k
        on s.account_key = k.account_key and s.path = k.path
)
select
    account_key,
    'path=' || path as subject,
    case
        when is_slow or is_over_rule then 'finding'
        when is_untold and rule_s is null then 'not_judged'
        when rule_s is null and n_seen = 0 then 'not_judged'
        when rule_s is null and lacking_s * 2 > window_s then 'not_judged'
        else 'sound'
    end as verdict,
    case
        when is_slow then 'check-ins come at this interval'
        when is_over_rule then 'interval on the roster'
        when is_untold and rule_s is null then 'paths not told apart'
        when rule_s is null and n_seen = 0
            then 'no rule of an edition, and no check-in in this log'
        when rule_s is null and lacking_s * 2 > window_s
            then 'too much of the window is not in the log'
        else ''
    end as reason,
    case when is_slow then mean_s else roster_s end / 3600 as measured,
    case
        when is_slow then least(roster_s, coalesce(rule_s, roster_s))
        else coalesce(rule_s, roster_s)
    end / 3600 as limit_value,
    'h' as unit,
    first_utc as since_utc,
    cast($until as timestamp) as until_utc,
    coalesce(first_utc, cast($from as timestamp)) as evidence_from_utc,
    cast($until as timestamp) as evidence_until_utc,
    last_seen_utc as last_good_utc,
    n_gaps as evidence_count,
    case when lacking_s > 0 then 1 else 0 end as excused_count,
    case when is_slow and n_gaps < 2 * least_gaps then 2 else 3 end as grade,
    n_gaps as k,
    n_gaps as n,
    case when is_slow and coalesce(is_life, false) then 1 else 0 end
        as aggravated,
    case
        when is_slow then 'roster'
        else coalesce(rule_standing, 'roster')
    end as standing
from judged
