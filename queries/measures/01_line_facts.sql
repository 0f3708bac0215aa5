-- purpose: what each receiver line shows at all, whoever sent it
-- grain:   one row per receiver and line
-- reads:   fact_day
-- params:  none
-- returns: tests, check-ins and path losses of everybody; a check on absence
--          fires only where this shows that the thing would appear in the log
select
    receiver,
    line,
    sum(case when code in ('602', '603', '608') then n else 0 end) as n_tests,
    sum(case when format = 'check_in' then n else 0 end) as n_check_ins,
    sum(case
        when code in ('350', '353', '355', '356') and qualifier = 'E'
            then n
        else 0
    end) as n_losses
from fact_day
where origin <> 'receiver'
group by receiver, line
