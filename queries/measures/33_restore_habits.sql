-- purpose: whether an account sends restores of a family of events at all
-- grain:   one row per account and family
-- reads:   edge
-- params:  none
-- returns: n_began and n_restored [signals], days with a beginning, and how
--          often a zone began again although no restore came between; mean and
--          spread [s] of that repetition tell reminders from new events
with
ordered as (
    select
        account_key,
        family,
        code_group,
        qualifier,
        received_utc,
        lag(qualifier) over same as before_qualifier,
        lag(received_utc) over same as before_utc
    from edge
    window same as (
        partition by account_key, family, partition, zone
        order by received_utc, source_id, line_no
    )
)
select
    account_key,
    family,
    min(code_group) as code_group,
    sum(case when qualifier <> 'R' then 1 else 0 end) as n_began,
    sum(case when qualifier = 'R' then 1 else 0 end) as n_restored,
    count(distinct case
        when qualifier <> 'R' then date_trunc('day', received_utc)
    end) as days_began,
    sum(case
        when qualifier = 'E' and before_qualifier = 'E' then 1 else 0
    end) as n_began_again,
    min(case when qualifier <> 'R' then received_utc end) as first_began_utc,
    max(case when qualifier <> 'R' then received_utc end) as last_began_utc,
    max(case when qualifier = 'R' then received_utc end) as last_restored_utc,
    avg(case
        when qualifier <> 'R' and before_qualifier <> 'R'
            then epoch(received_utc) - epoch(before_utc)
    end) as again_mean_s,
    stddev_samp(case
        when qualifier <> 'R' and before_qualifier <> 'R'
            then epoch(received_utc) - epoch(before_utc)
    end) as again_sd_s
from ordered
group by account_key, family
