-- A cell without the blanks around it (no-break ones too); null when nothing is left.
create or replace temp macro filled(written) as
    nullif(trim(written, ' ' || chr(9) || chr(10) || chr(13) || chr(160) || chr(8239)), '');
