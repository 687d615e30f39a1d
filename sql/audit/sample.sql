-- name: sample_from
-- The stations of which a channel is agreed on the run's day, with what is agreed.
with agreed as (
    select store, station,
        arg_max_null(value, (approved_on, version)) filter (field = 'station') as listed,
        count(*) filter (field = 'station') as told,
        try_cast(arg_max_null(value, (approved_on, version))
            filter (field = 'channel') as integer) as channel,
        arg_max_null(value, (approved_on, version)) filter (field = 'pan_id') as pan_id
    from baseline, this_run where approved_on <= as_of
    group by store, station
)
select coalesce(s.region, 'no region') as region, a.store, a.station, a.channel, a.pan_id
from agreed a left join store_now s using (store)
where a.channel is not null and (a.told = 0 or a.listed is not null)
order by region, a.store, a.station;

-- name: sample_seed
-- What a sample is drawn from where nobody names a seed: the name of the run.
select run from this_run;

-- name: samples_known
-- The samples drawn so far.
select sample from audit_sample order by sample;
