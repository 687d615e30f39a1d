-- What became of the waves so far.
select region, wave, stores, verified from wave_result order by region, wave;
