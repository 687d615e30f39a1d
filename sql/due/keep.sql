-- What the chosen stores are computed from now.
insert into computed
select $step, store, fingerprint from incoming order by store;
