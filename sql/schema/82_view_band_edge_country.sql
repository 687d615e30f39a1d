-- What is on file about power on channel 26, 3.5 MHz below the band edge at 2483.5 MHz.
-- 'restricted': the band above the edge is protected, so channel 26 runs at reduced power
--   (US: 47 CFR 15.205 and 15.209; CA: RSS-Gen; both from memory).
-- 'even': one limit up to the edge (EN 300 328; Decision 2006/771/EC; ERC Rec 70-03 annex 3).
-- A country that is not here: nobody looked it up; its regulator knows.
create or replace view band_edge_country as
select unnest(['US', 'CA']) as country, 'restricted' as edge
union all
select unnest(['AT', 'BE', 'BG', 'CH', 'CY', 'CZ', 'DE', 'DK', 'EE', 'ES', 'FI', 'FR', 'GB', 'GR',
    'HR', 'HU', 'IE', 'IS', 'IT', 'LI', 'LT', 'LU', 'LV', 'MT', 'NL', 'NO', 'PL', 'PT', 'RO',
    'SE', 'SI', 'SK']), 'even';
