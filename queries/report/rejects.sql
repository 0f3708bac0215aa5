-- purpose: rejected lines as work: what kind, how many, where, what they look
--          like
-- grain:   one row per source, reason and sample; up to three samples, the
--          first lines
-- reads:   rejects
-- params:  none
-- returns: how many lines of the source have that reason, the first and the
--          last of them, and one of them as it stands in the file
with
places as (
    select
        r.source_id,
        r.reason,
        r.line_no,
        row_number() over (
            partition by r.source_id, r.reason order by r.line_no
        ) as place
    from rejects as r
),
counted as (
    select
        r.source_id,
        r.reason,
        count(*) as n,
        min(r.line_no) as first_line,
        max(r.line_no) as last_line
    from rejects as r
    group by r.source_id, r.reason
)
select
    c.source_id,
    c.reason,
    c.n,
    c.first_line,
    c.last_line,
    r.line_no,
    r.raw
from counted as c
inner join places as p on c.source_id = p.source_id and c.reason = p.reason
inner join rejects as r on p.source_id = r.source_id and p.line_no = r.line_no
where p.place <= 3
order by c.source_id, c.reason, p.place
