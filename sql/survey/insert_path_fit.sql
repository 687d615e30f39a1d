-- Keep each store's path-loss model.
insert into path_fit
select store, pairs, round(exponent, 4), round(exponent_error, 4), round(loss_at_1m_db, 3),
    round(spread_db, 3), used, note
from incoming order by store;
