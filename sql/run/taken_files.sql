-- The content the run rests on, in an order of its own.
select distinct sha256 from export_file where refused is null order by sha256;
