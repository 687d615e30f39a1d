-- Which wave a store was put in for certain, and on which day of a run: a store stays in its wave.
create table if not exists wave_taken (
    store    varchar not null,
    wave     varchar not null,
    taken_on date not null
);
