-- Keep how good the schedule of each region is proven to be.
insert into schedule_proof select area as region, benefit, bound, optimal from incoming order by area;
