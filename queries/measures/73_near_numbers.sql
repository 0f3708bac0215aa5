-- purpose: stray numbers that may be a silent account's, mistyped or cut
-- grain:   one row per rostered account and stray number close to its own
-- reads:   fallen_silent, strays, accounts, zones, path_lines, used_lines,
--          rare_edges, numbers
-- params:  none
-- returns: how near (panel the roster names the number as the panel's own, cut
--          its last four digits, hex A sent as 0, swap of neighbours, digit one
--          differs, length one too few or too many); date_fit 1 the account
--          fell silent, or was installed, when the stray began, -1 both spoke
--          for days; type_fit, zone_fit likewise; line_fit, clock_fit 0 or 1
-- Found by equal masks and variants of the digits, never over all pairs.
with
places as (
    select i from numbers where i <= 16
),
twin as (
    select *, length(account) as width from fallen_silent
),
stray as (
    select *, length(account) as width from strays
),
twin_forms as (
    select
        t.account_key,
        t.receiver_group,
        p.i,
        t.width,
        substring(t.account, 1, p.i - 1) as head,
        substring(t.account, p.i, 1) as one,
        substring(t.account, p.i + 1, 1) as two,
        substring(t.account, p.i + 1) as tail,
        substring(t.account, p.i + 2) as rest
    from twin as t
    inner join places as p on p.i <= t.width
),
stray_forms as (
    select
        s.account_key,
        s.receiver_group,
        s.width,
        substring(s.account, 1, p.i - 1) as head,
        substring(s.account, p.i + 1) as tail
    from stray as s
    inner join places as p on p.i <= s.width
),
variants as (
    select
        account_key, receiver_group, head || two || one || rest as account,
        'swap' as how, 2 as rank_no
    from twin_forms
    where i < width and one <> two
    union all
    select
        account_key, receiver_group, head || tail as account,
        'length' as how, 5 as rank_no
    from twin_forms
    where width > 2
    union all
    select
        account_key, receiver_group, substring(account, width - 3) as account,
        'cut' as how, 1 as rank_no
    from twin
    where width > 4
    union all
    select
        account_key, receiver_group, replace(account, 'A', '0') as account,
        'hex' as how, 1 as rank_no
    from twin
    where account like '%A%'
    union all
    select
        a.account_key, a.receiver_group,
        split_part(
            replace(a.panel_account, ' ', ''), ';', cast(p.i as integer)
        ) as account,
        'panel' as how, 0 as rank_no
    from accounts as a
    inner join places as p on p.i <= 8
    where a.panel_account <> '' and a.monitored
),
related as (
    select v.account_key, s.account_key as peer_key, v.how, v.rank_no
    from variants as v
    inner join stray as s
        on v.receiver_group = s.receiver_group and v.account = s.account
    where v.account <> ''
    union all
    select t.account_key, s.account_key as peer_key, 'digit' as how,
        4 as rank_no
    from twin_forms as t
    inner join stray_forms as s
        on
            t.receiver_group = s.receiver_group
            and t.width = s.width
            and t.head = s.head
            and t.tail = s.tail
    union all
    select t.account_key, s.account_key as peer_key, 'length' as how,
        5 as rank_no
    from stray_forms as s
    inner join twin as t
        on
            t.receiver_group = s.receiver_group
            and s.head || s.tail = t.account
    where t.width > 2
),
nearest as (
    select *
    from related
    qualify
        row_number() over (
            partition by account_key, peer_key order by rank_no, how
        ) = 1
),
lines_alike as (
    select n.account_key, n.peer_key, count(*) as n_lines
    from nearest as n
    inner join used_lines as u on n.peer_key = u.account_key
    inner join path_lines as p
        on
            n.account_key = p.account_key
            and u.receiver = p.receiver
            and u.line = p.line
    where p.path <> ''
    group by n.account_key, n.peer_key
),
stray_zones as (
    select distinct s.account_key, r.zone
    from stray as s
    inner join rare_edges as r on s.account_key = r.account_key
    where
        r.is_telling and r.qualifier = 'E' and r.zone not in ('', '000')
),
listed_zones as (
    select distinct account_key, zone from zones where zone <> ''
),
has_list as (
    select distinct account_key from listed_zones
),
zones_alike as (
    select
        n.account_key,
        n.peer_key,
        count(*) as n_zones,
        count(z.zone) as n_listed
    from nearest as n
    inner join has_list as h on n.account_key = h.account_key
    inner join stray_zones as s on n.peer_key = s.account_key
    left join listed_zones as z
        on n.account_key = z.account_key and s.zone = z.zone
    group by n.account_key, n.peer_key
)
select
    n.account_key,
    n.peer_key,
    n.how,
    n.rank_no,
    s.first_utc,
    s.last_utc,
    s.n_ever,
    s.n_alarm_window,
    t.last_utc as twin_last_utc,
    case
        when t.account_key is null then 0
        when t.last_utc is not null
            then case
                when
                    epoch(s.first_utc) - epoch(t.last_utc)
                    between -86400 and 172800 + coalesce(t.test_s, 86400)
                    then 1
                when s.first_utc < t.last_utc then -1
                else 0
            end
        when t.installed_on is null then 0
        when
            s.first_utc >= t.installed_on - interval 1 day
            and s.first_utc <= t.installed_on + interval 7 day
            then 1
        when s.first_utc < t.installed_on - interval 1 day then -1
        else 0
    end as date_fit,
    case
        when a.system_type = '' then 0
        when s.has_fire = 1
            then case
                when a.system_type in ('fire', 'combined') then 1 else -1
            end
        when s.has_burglary = 1
            then case when a.system_type = 'fire' then -1 else 1 end
        else 0
    end as type_fit,
    case
        when z.n_zones is null then 0
        when z.n_listed = z.n_zones then 1
        when 2 * z.n_listed < z.n_zones then -1
        else 0
    end as zone_fit,
    case when l.n_lines > 0 then 1 else 0 end as line_fit,
    case
        when
            s.period_s is not null and t.test_s is not null
            and s.period_s between 0.95 * t.test_s and 1.05 * t.test_s
            then 1
        else 0
    end as clock_fit
from nearest as n
inner join stray as s on n.peer_key = s.account_key
inner join accounts as a on n.account_key = a.account_key
left join twin as t on n.account_key = t.account_key
left join lines_alike as l
    on n.account_key = l.account_key and n.peer_key = l.peer_key
left join zones_alike as z
    on n.account_key = z.account_key and n.peer_key = z.peer_key
