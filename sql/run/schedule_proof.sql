-- How good the schedule of each region is proven to be.
select region, benefit, bound, optimal from schedule_proof order by region;
