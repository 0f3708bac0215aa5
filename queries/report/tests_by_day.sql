-- purpose: required tests of each local day of the window
-- grain:   one row per local day
-- reads:   kept_tests_by_day
-- params:  none
-- returns: due, received as tests (strict), received or stood in for (lenient),
--          missed, excused [tests]
select
    local_day,
    cast(sum(strict + missed) as bigint) as due,
    cast(sum(strict) as bigint) as strict,
    cast(sum(strict + stood_in) as bigint) as lenient,
    cast(sum(missed) as bigint) as missed,
    cast(sum(excused) as bigint) as excused
from kept_tests_by_day
group by local_day
order by local_day
