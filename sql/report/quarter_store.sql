-- The stores of a quarter with what speaks of them; those without an export first.
select store, name, region, store_type, exports, last_export, stations, version, agreed_on,
    scan_days
from audit_store where quarter = $quarter
order by exports > 0, version is not null, region, store;
