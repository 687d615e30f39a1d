-- How good the schedule of each region is proven to be; regions tied by shared staff or a shared
-- Wi-Fi neighbour are proven together. Figures in label-days: labels that find a free channel at
-- any moment after the changes, less before, times the days that lasts.
create table if not exists schedule_proof (
    region  varchar not null,
    benefit double not null,
    bound   double not null,   -- no schedule that keeps to every constraint is worth more
    optimal boolean not null
);
