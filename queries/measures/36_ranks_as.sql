-- purpose: the system type that limits and severities go by
-- grain:   one row per account on the roster
-- reads:   accounts, zones, day_classes
-- params:  none
-- returns: ranks_as the roster's type; where the roster does not know it, fire
--          as soon as a fire code was heard or a zone is a fire device
with
fire_heard as (
    select distinct account_key
    from day_classes
    where code_group in ('alarm_fire', 'supervisory')
),
fire_zones as (
    select distinct account_key
    from zones
    where kind in ('smoke', 'pull', 'heat', 'waterflow', 'duct', 'supervisory')
)
select
    a.account_key,
    case
        when a.system_type <> '' then a.system_type
        when f.account_key is not null or z.account_key is not null then 'fire'
        else ''
    end as ranks_as
from accounts as a
left join fire_heard as f on a.account_key = f.account_key
left join fire_zones as z on a.account_key = z.account_key
