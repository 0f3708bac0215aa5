-- purpose: life-safety accounts without a proven path at $as_of, by name,
--          whatever excuses it
-- grain:   one row per account
-- reads:   accounts, ranks_as, life, heard, visible_requirements, requirements,
--          paths, account_line_facts, excuses, check_in_gaps,
--          station, proof_limits
-- params:  $as_of timestamp [UTC]
-- returns: since when, hours, and why. A path is proven while its last counting
--          sign is no older than its required interval and grace; where nothing
--          is required, the account's last signal counts for a fixed time.
--          earlier_h: silences of the last 24 h that are over, of an account
--          that one path alone proves; with several it would take all at once
with
life_safety as (
    select
        a.account_key,
        a.account,
        a.receiver_group,
        a.site,
        case
            when a.system_type <> '' then a.system_type
            else 'not known, ranks with fire'
        end as system_type,
        a.installed_on
    from accounts as a
    inner join ranks_as as r on a.account_key = r.account_key
    where
        a.monitored
        and r.ranks_as in ('fire', 'medical', 'holdup', 'combined')
),
signs as (
    select account_key, path, sign, max(last_utc) as last_utc
    from life
    where origin <> 'receiver'
    group by account_key, path, sign
),
wanted as (
    select account_key, path, what, seconds, grace_s
    from visible_requirements
    union
    -- Check-ins that the roster promises and that others on the same lines
    -- show: a path that never sent one has not been proven by its silence.
    select r.account_key, r.path, r.what, r.seconds, r.grace_s
    from requirements as r
    inner join paths as p
        on r.account_key = p.account_key and r.path = p.path
    inner join account_line_facts as f
        on r.account_key = f.account_key and r.path = f.path
    where
        r.what = 'supervision'
        and p.checks_in = 'yes'
        and f.n_check_ins_of_others > 0
),
clocks as (
    select
        r.account_key,
        r.path,
        r.what,
        r.seconds + r.grace_s as limit_s,
        max(s.last_utc) as last_utc
    from wanted as r
    left join signs as s
        on
            r.account_key = s.account_key
            and (r.path = s.path or r.path = '')
            and (
                (r.what = 'test' and s.sign in ('test', 'signal'))
                or (r.what = 'supervision' and s.sign = 'check_in')
            )
    group by r.account_key, r.path, r.what, r.seconds, r.grace_s
),
paths_proven as (
    select
        account_key,
        path,
        min(case
            when
                last_utc is not null
                and epoch($as_of) - epoch(last_utc) <= limit_s
                then 1
            else 0
        end) as proven
    from clocks
    group by account_key, path
),
proven as (
    select account_key, max(proven) as proven
    from paths_proven
    group by account_key
),
judged as (
    select
        l.*,
        h.last_utc,
        h.account_key is not null as is_heard,
        coalesce(
            p.proven,
            case
                when
                    h.last_utc is not null
                    and epoch($as_of) - epoch(h.last_utc) <= d.limit_s
                    then 1
                else 0
            end
        ) as proven,
        p.account_key is null as is_by_default
    from life_safety as l
    inner join proof_limits as d on l.account_key = d.account_key
    left join heard as h on l.account_key = h.account_key
    left join proven as p on l.account_key = p.account_key
),
alone as (
    select account_key, min(path) as path
    from paths_proven
    group by account_key
    having count(*) = 1
),
earlier as (
    select
        g.account_key,
        sum(
            epoch(g.until_utc)
            - epoch(greatest(g.from_utc, $as_of - interval 24 hour))
        ) / 3600 as hours
    from check_in_gaps as g
    inner join alone as a
        on g.account_key = a.account_key and g.path = a.path
    where
        not g.is_open
        and g.until_utc > $as_of - interval 24 hour
        and g.until_utc <= $as_of
    group by g.account_key
),
excused as (
    select
        account_key,
        min(case when why <> 'on_test' then why end) as why,
        max(case when why = 'on_test' then 1 else 0 end) as is_on_test
    from excuses
    where path = '' and from_utc <= $as_of and until_utc >= $as_of
    group by account_key
)
select
    j.account_key,
    j.account,
    j.receiver_group,
    j.site,
    j.system_type,
    coalesce(
        j.last_utc,
        greatest(
            coalesce(cast(j.installed_on as timestamp), s.data_first_utc),
            s.data_first_utc
        )
    ) as since_utc,
    coalesce(b.hours, 0) as earlier_h,
    case
        when not j.is_heard then 'never heard in the log'
        when e.why = 'export_gap'
            then 'silent; no log of its receiver lines is held'
        when e.why is not null
            then 'silent; its receiver or line was down or not told apart'
        when j.is_by_default
            then 'no interval known and silent for over a day'
        else 'overdue on every path that can be judged'
    end
    || case when coalesce(e.is_on_test, 0) = 1 then '; on test' else '' end
        as reason
from judged as j
cross join station as s
left join excused as e on j.account_key = e.account_key
left join earlier as b on j.account_key = b.account_key
where j.proven = 0
order by since_utc, j.account_key
