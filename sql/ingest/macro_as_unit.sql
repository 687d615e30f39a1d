-- The unit of a level: 'dbm', '-dbm' (positive magnitudes) or 'raw' (0..255 on a declared scale).
create or replace temp macro as_unit(written) as
    case
        when lower(written) = 'dbm' then 'dbm'
        when lower(replace(replace(written, '−', '-'), ' ', '')) in ('-dbm', 'minusdbm') then '-dbm'
        when lower(written) in ('raw', 'raw 0-255', '0-255', 'roh', 'rohwert') then 'raw'
    end;
