-- purpose: accounts that an incident excused and that did not come back when
--          it was over
-- grain:   one row per incident and finding
-- reads:   ended_incidents, kept_excuses, week_findings, week_families
-- params:  $as_of timestamp [UTC]
-- returns: the finding that still stands at as_of: its silence or loss began
--          inside the incident, or with the last sign of life in the day
--          before it
select distinct
    i.incident_id,
    f.account_key,
    f.account,
    f.site,
    f.finding_id,
    f.title,
    f.since_utc
from ended_incidents as i
inner join kept_excuses as e on i.incident_id = e.incident_id
inner join week_findings as f on e.account_key = f.account_key
inner join week_families as m on f.check_id = m.check_id
where
    f.is_latest
    and m.family in ('silent', 'degraded')
    and f.since_utc >= i.from_utc - interval '25' hour
    and f.since_utc <= i.until_utc
    and (f.until_utc is null or f.until_utc >= $as_of)
order by i.incident_id, f.account_key, f.finding_id
