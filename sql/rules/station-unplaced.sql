-- name: station-unplaced
-- title: A station has no coordinates
-- severity: watch
-- why: Whom a station hears is reckoned from where it hangs. Without a place it is taken as
--   {default_distance_m} m from every other, which may be far off.
-- do: Give x and y in metres on the floor plan (any corner as origin, one for the store), or
--   measure the levels between stations.
-- source: common practice, no published source
select store, station as subject,
    format('No {} in the stations export{}.',
        case when x_m is null and y_m is null then 'coordinates'
            when x_m is null then 'x coordinate' else 'y coordinate' end,
        coalesce(format('; it is described as ''{}''', mounted), '')) as detail
from station_now
where x_m is null or y_m is null
order by store, subject;
