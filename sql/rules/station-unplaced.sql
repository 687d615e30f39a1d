-- name: station-unplaced
-- title: Station without coordinates
-- title.de: Station ohne Koordinaten
-- severity: watch
-- says: No {lacks:case x=x coordinate|y=y coordinate|both=coordinates} in the stations
--   export{mounted:case null=|else=; it is described as '{mounted}'}.
-- says.de: Der Stationsexport nennt keine {lacks:case
--   x=x-Koordinate|y=y-Koordinate|both=Koordinaten}{mounted:case null=|else=; Beschreibung:
--   „{mounted}“}.
-- why: Which stations it hears is computed from where it hangs. Without a place it is taken to be
--   {default_distance_m} m from every other, which may be far off.
-- do: Give x and y in metres on the floor plan (any corner as origin, the same for the whole
--   store), or measure the levels between stations.
-- source: common practice, no published source
select store, station as subject, mounted,
    case when x_m is null and y_m is null then 'both' when x_m is null then 'x' else 'y' end
        as lacks
from station_now
where x_m is null or y_m is null
order by store, subject;
