-- What one energy reading stands for: 'single', 'max' or 'mean'. Not stated is 'single'.
create or replace temp macro as_statistic(written) as
    case
        when written is null or written = 'single' then 'single'
        when written = 'max' then 'max'
        when written = 'mean' then 'mean'
        when filled(written) is null or lower(filled(written)) in ('single', 'einzel', 'einzeln',
            'einzelwert', 'pojedynczy', 'sample') then 'single'
        when lower(filled(written)) in ('max', 'maximum', 'peak', 'spitze', 'maksimum', 'maks')
            then 'max'
        when lower(filled(written)) in ('mean', 'average', 'avg', 'mittel', 'mittelwert', 'średnia')
            then 'mean'
    end;
