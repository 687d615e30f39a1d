-- What the run comes to. Clear air is averaged over stations, weighted by the labels they serve.
with aired as (
    select p.clear_air_now, p.clear_air_planned, greatest(l.labels, 1) as labels
    from station_plan p join station_load l using (store, station)
)
select (select count(*) from store_now) as stores,
    (select count(*) from station_now) as stations,
    (select count(*) from move) as moves,
    (select count(distinct store) from move) as stores_with_moves,
    coalesce((select fsum(clear_air_now * labels) / sum(labels) from aired), 0) as clear_air_now,
    coalesce((select fsum(clear_air_planned * labels) / sum(labels) from aired), 0)
        as clear_air_planned;
