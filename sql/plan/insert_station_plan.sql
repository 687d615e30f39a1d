-- Keep what the plan says of every station.
insert into station_plan
select store, station, channel_now, channel_planned, round(clear_air_now, 6),
    round(clear_air_planned, 6), round(busy_now, 6), round(busy_planned, 6), source_planned,
    next_best_channel, round(next_best_cost, 6), sureness, reason, facts
from incoming order by store, station;
