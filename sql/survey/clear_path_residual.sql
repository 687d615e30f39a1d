-- Empty the table, so that this run's survey stands alone.
delete from path_residual;
