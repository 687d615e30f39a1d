-- Yes or no, in the languages of the exports; null when the word is neither.
create or replace temp macro as_flag(written) as
    case
        when written = 'yes' then true
        when written = 'no' then false
        when lower(trim(written)) in ('yes', 'y', 'true', 't', '1', 'on', 'online', 'connected',
            'ja', 'j', 'wahr', 'tak', 'prawda', 'oui', 'vrai', 'sí', 'si', 'sì', 'sim', 'vero',
            'ano', 'igen', 'da', 'verbunden') then true
        when lower(trim(written)) in ('no', 'n', 'false', 'f', '0', 'off', 'offline',
            'disconnected', 'nein', 'falsch', 'nie', 'fałsz', 'non', 'faux', 'não', 'falso',
            'ne', 'nem', 'nu', 'getrennt') then false
    end;
