-- purpose: losses that began inside an incident many accounts share
-- grain:   one row per account, family, partition, zone and beginning
-- reads:   episodes, incident_members
-- params:  $as_of timestamp [UTC]
-- returns: until_utc the end of what the incident excuses, at most $as_of;
--          whoever is still down after it is judged from there. A place without
--          power loses its lines and paths too
select
    e.account_key,
    e.family,
    e.partition,
    e.zone,
    e.started_utc,
    max(least(m.until_utc, $as_of)) as until_utc,
    min(m.incident_id) as incident_id
from episodes as e
inner join incident_members as m
    on
        e.account_key = m.account_key
        and e.started_utc >= m.from_utc
        and e.started_utc <= m.until_utc
where
    (
        m.kind = 'area_power_outage'
        and e.family in (
            '301', '314', '342', '350', '351', '352', '353', '355', '356'
        )
    )
    or (
        m.kind <> 'area_power_outage'
        and e.family in ('350', '351', '352', '353', '355', '356')
    )
group by e.account_key, e.family, e.partition, e.zone, e.started_utc
