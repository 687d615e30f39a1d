-- How far each measured level lies from its store's fit: measured loss less fitted loss.
create table if not exists path_residual (
    store       varchar not null,
    station     varchar not null,
    neighbour   varchar not null,
    distance_m  double not null,
    loss_db     double not null,   -- floors taken off
    residual_db double not null
);
