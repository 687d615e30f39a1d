-- How well promises of clear air hold: by the evidence they rest on and by what was promised, and
-- over all. Of each change the last measurement up to $day counts. A promise reckons with the upper
-- bound of outside noise, so a sound one is beaten more often than not; `held` is the share that was.
with measured as (
    select k.* from change_check k join change_event e using (seq)
    where k.measured is not null and k.readings >= $readings_minimum
        and e."at" < cast($day as timestamp) + interval 1 day
        and k.channel_found = (select c.to_channel from change c where c.change = k.change)
    qualify row_number() over (partition by k.change order by k.seq desc) = 1
), bucketed as (
    select *, list_max(list_filter([0, 0.5, 0.7, 0.8, 0.9]::double[], lambda x: x <= promised)) as least
    from measured
)
select coalesce(sureness, 'all') as sureness, coalesce(least, 0) as promised_from,
    case when least is null then 1
        else list_min(list_filter([0.5, 0.7, 0.8, 0.9, 1]::double[], lambda x: x > least)) end
        as promised_to,
    count(*) as changes, round(fsum(promised) / count(*), 6) as promised,
    round(fsum(measured) / count(*), 6) as measured,
    round(fsum(measured - promised) / count(*), 6) as error,
    round(fsum(abs(measured - promised)) / count(*), 6) as absolute_error,
    count(*) filter (measured >= promised) / count(*) as held
from bucketed
group by grouping sets ((sureness, least), (sureness), ())
having count(*) > 0
order by grouping(sureness), list_position(['high', 'fair', 'low'], sureness),
    grouping(least), least;
