-- purpose: what the headline figures of the window are made of
-- grain:   one row
-- reads:   all_accounts, kept_heard, kept_test_measures, kept_check_in_gaps,
--          kept_losses, kept_requirements, kept_episodes
-- params:  $from, $until timestamp [UTC]
-- returns: counts [accounts, tests, episodes], lost_h [h], n_supervised [paths]
with
roster as (
    select
        count(*) as n_monitored,
        count(*) filter (where coalesce(h.n_window, 0) > 0) as n_heard,
        count(*) filter (
            where a.system_type in ('fire', 'medical', 'holdup', 'combined')
        ) as n_life_safety
    from all_accounts as a
    left join kept_heard as h on a.account_key = h.account_key
    where a.monitored
),
tests as (
    select
        coalesce(sum(n_window), 0) as n_received,
        coalesce(sum(k_window), 0) as n_missed,
        coalesce(sum(k_window_lenient), 0) as n_lost
    from kept_test_measures
    where what = 'test' and n_ever > 0
),
gaps as (
    select
        coalesce(sum(greatest(
            epoch(least(until_utc, $until))
            - greatest(
                epoch(from_utc) + seconds, epoch(cast($from as timestamp))
            )
            - excused_s, 0
        )), 0) as lost_s
    from kept_check_in_gaps
    where missed > 0
),
path_losses as (
    select
        account_key,
        path,
        least(
            sum(lost_s),
            epoch(cast($until as timestamp)) - epoch(cast($from as timestamp))
        ) as lost_s
    from kept_losses
    group by account_key, path
),
losses as (
    select coalesce(sum(lost_s), 0) as lost_s
    from path_losses
),
supervised as (
    select count(*) as n_supervised
    from kept_requirements
    where what = 'supervision'
),
cuts as (
    select
        count(*) as n_cuts,
        count(distinct account_key) as n_cut_accounts
    from kept_episodes
    where
        family in ('351', '352')
        and started_utc >= $from
        and started_utc < $until
)
select
    roster.n_monitored,
    roster.n_heard,
    roster.n_life_safety,
    cast(tests.n_received as bigint) as n_received,
    cast(tests.n_missed as bigint) as n_missed,
    cast(tests.n_lost as bigint) as n_lost,
    (gaps.lost_s + losses.lost_s) / 3600 as lost_h,
    supervised.n_supervised,
    cuts.n_cuts,
    cuts.n_cut_accounts
from roster
cross join tests
cross join gaps
cross join losses
cross join supervised
cross join cuts
