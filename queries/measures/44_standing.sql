-- purpose: conditions that were reported and not restored
-- grain:   one row per monitored account, family, partition and zone with an
--          open episode
-- reads:   episodes, habits, trouble_tests, excuses, shared_losses, accounts
-- params:  $as_of timestamp [UTC]
-- returns: open_h [h] up to $as_of; proven_h [h] up to the first hours after
--          its last word that the log lacks, for the restore may lie in them;
--          excused_h [h] of both while an incident that many accounts share
--          lasted, in which it began (n_shared 1);
--          would_tell true where this account has restored the family before,
--          or a later test of its own reports a trouble; is_promised true where
--          it has not, but its roster says that it sends restores and nothing
--          in the log speaks against that: it restores other families, and no
--          point of this one began again without an end
with
open_now as (
    select
        e.account_key,
        e.family,
        e.partition,
        e.zone,
        max(case when a.sends_restores = 'yes' then 1 else 0 end) as says_yes,
        min(e.code_group) as code_group,
        min(e.path) as path,
        min(e.started_utc) as started_utc,
        max(e.last_event_utc) as last_event_utc,
        sum(e.n_events) as n_events,
        sum(e.n_doubt) as n_doubt
    from episodes as e
    inner join accounts as a on e.account_key = a.account_key
    where
        a.monitored
        and e.restored_utc is null
    group by e.account_key, e.family, e.partition, e.zone
),
restoring as (
    select account_key
    from habits
    where n_restored > 0
    group by account_key
),
in_trouble as (
    select account_key, max(last_test_utc) as says_utc
    from trouble_tests
    where last_code = '608'
    group by account_key
),
spoken as (
    select
        o.*,
        coalesce(t.says_utc > o.started_utc, false) as says_trouble,
        greatest(o.last_event_utc, coalesce(t.says_utc, o.last_event_utc))
            as last_word_utc
    from open_now as o
    left join in_trouble as t on o.account_key = t.account_key
),
unheard as (
    select
        s.account_key,
        s.family,
        s.partition,
        s.zone,
        min(greatest(x.from_utc, s.last_word_utc)) as from_utc,
        count(distinct x.incident_id) as n_holes
    from spoken as s
    inner join excuses as x
        on s.account_key = x.account_key and s.path = x.path
    where
        x.why not in ('on_test', 'area_power_outage', 'signal_storm')
        and x.until_utc > s.last_word_utc
        and x.from_utc < $as_of
    group by s.account_key, s.family, s.partition, s.zone
),
judged as (
    select
        s.*,
        coalesce(
            (epoch(g.until_utc) - epoch(s.started_utc)) / 3600, 0
        ) as excused_h,
        case when g.until_utc is null then 0 else 1 end as n_shared,
        (epoch($as_of) - epoch(s.started_utc)) / 3600 as open_h,
        (epoch(coalesce(u.from_utc, $as_of)) - epoch(s.started_utc)) / 3600
            as proven_h,
        coalesce(u.n_holes, 0) as n_holes,
        coalesce(h.n_restored, 0) > 0 or s.says_trouble as would_tell,
        s.says_yes = 1
        and r.account_key is not null
        and coalesce(h.n_restored, 0) = 0
        and coalesce(h.n_began_again, 0) = 0 as is_promised,
        h.last_restored_utc
    from spoken as s
    left join habits as h
        on s.account_key = h.account_key and s.family = h.family
    left join restoring as r on s.account_key = r.account_key
    left join unheard as u
        on
            s.account_key = u.account_key
            and s.family = u.family
            and s.partition = u.partition
            and s.zone = u.zone
    left join shared_losses as g
        on
            s.account_key = g.account_key
            and s.family = g.family
            and s.partition = g.partition
            and s.zone = g.zone
            and s.started_utc = g.started_utc
)
select
    account_key,
    family,
    partition,
    zone,
    code_group,
    started_utc,
    open_h,
    proven_h,
    excused_h,
    n_shared,
    n_holes,
    would_tell,
    is_promised,
    last_restored_utc,
    n_events,
    n_doubt
from judged
