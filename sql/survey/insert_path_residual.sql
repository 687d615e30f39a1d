-- Keep how far each measured level lies from its store's fit.
insert into path_residual
select store, station, neighbour, round(distance_m, 3), round(loss_db, 3), round(residual_db, 3)
from incoming order by store, station, neighbour;
