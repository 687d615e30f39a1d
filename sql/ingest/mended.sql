-- The places of the rows that this table brings back from quarantine.
create or replace temp table mended as
select distinct filled(from_file) as file, filled(from_content) as sha256,
    try_cast(from_line as bigint) as line
from staged
where filled(from_file) is not null and filled(from_content) is not null
    and try_cast(from_line as bigint) is not null;
