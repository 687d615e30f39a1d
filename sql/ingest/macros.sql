-- name: filled
-- A cell without the blanks around it, no-break ones included; null when nothing is left.
create or replace temp macro filled(written) as
    nullif(trim(written, e' \t\n\r' || chr(160) || chr(8239)), '');

-- name: tidy
-- The same as `filled`, at less cost in files without odd blanks (tabs, no-break spaces).
create or replace temp macro tidy(written, odd) as
    case when odd then filled(written) else nullif(trim(written), '') end;

-- name: said
-- An optional cell without blanks around it; null where it is a usual way to write nothing. It
-- stands once, as the element of a list, for the reason given at `bare_number`.
create or replace temp macro said(written) as
    list_transform([filled(written)], lambda w: case when lower(w) not in ('-', '–', '—', 'n/a',
        'n.a.', 'na', 'none', 'null', 'unknown', '#n/a', 'nan') then w end)[1];

-- name: is_total
-- Whether a key says that its row sums up or averages others, as reports write it.
create or replace temp macro is_total(key) as
    rtrim(lower(filled(key)), ' :') in ('total', 'totals', 'grand total', 'subtotal', 'sub-total',
        'sum', 'average', 'mean', 'gesamt', 'summe', 'gesamtsumme', 'zwischensumme', 'insgesamt',
        'durchschnitt', 'mittelwert', 'razem', 'suma', 'łącznie', 'średnia', 'ogółem', 'somme',
        'total général', 'moyenne', 'totale', 'celkem', 'összesen')
    or regexp_matches(lower(filled(key)),
        '^(sub-?total|grand total|zwischensumme|gesamtsumme|sous-total|subtotaal|subtotale)[ :]');

-- name: point_form
-- A number with a decimal point and nothing between thousands; null where marks stand as in no
-- number. `comma`: the file has a decimal comma. Thousands are whole groups of three digits.
-- The plain forms come first, because they are common and cheap.
create or replace temp macro point_form(written, comma) as
    case
        when comma and not contains(written, '.') and not contains(written, ' ')
            and strlen(written) = length(written) then replace(written, ',', '.')
        when not comma and not contains(written, ',') and not contains(written, ' ')
            and strlen(written) = length(written) then written
        when comma and regexp_full_match(written,
            '[\s\p{Z}]*[-+−]?(\d{1,3}([. \x{00A0}\x{202F}]\d{3})+|\d+)(,\d*)?[\s\p{Z}]*')
            then replace(replace(regexp_replace(written, '[. \x{00A0}\x{202F}]', '', 'g'),
                ',', '.'), '−', '-')
        when not comma and regexp_full_match(written,
            '[\s\p{Z}]*[-+−]?(\d{1,3}([, \x{00A0}\x{202F}]\d{3})+|\d+)(\.\d*)?[\s\p{Z}]*')
            then replace(regexp_replace(written, '[, \x{00A0}\x{202F}]', '', 'g'), '−', '-')
    end;

-- name: as_number
-- A number; null when the cell is none. `nan` and `inf` pass: every use checks a range.
create or replace temp macro as_number(written, comma) as
    try_cast(point_form(written, comma) as double);

-- name: as_whole
-- A whole number; null when the cell is none or has a fraction.
create or replace temp macro as_whole(written, comma) as
    try_cast(regexp_extract(point_form(written, comma), '^\s*[-+]?\d{1,9}(\.0*)?\s*$') as integer);

-- name: bare
-- A number without the unit written behind it; `unit` is the unit's pattern, lower case.
create or replace temp macro bare(written, unit) as
    regexp_replace(written, '^([^a-zA-Z%]*\d)[\s\p{Z}]*(' || unit || ')[\s\p{Z}]*$', '\1', 'i');

-- name: bare_number
-- The number before its unit. A macro puts its argument wherever it names it, and every one costs
-- time in each file before a row is read: as an element of a list the bare number stands there once.
create or replace temp macro bare_number(written, unit, comma) as
    list_transform([bare(written, unit)], lambda n: as_number(n, comma))[1];

-- name: scaled
-- A number times what the unit of its heading asks for; the last bits are those of a decimal.
create or replace temp macro scaled(number, factor) as
    case when factor = 1 then number else round(number * factor, 9) end;

-- name: as_metres
-- A position in metres: with m or cm behind it, else in the unit of its heading.
create or replace temp macro as_metres(written, comma, factor) as
    case when regexp_matches(lower(written), '\d[\s\p{Z}]*c?m[\s\p{Z}]*$')
        then list_transform([as_number(bare(written, 'c?m'), comma)], lambda n:
            if(regexp_matches(lower(written), 'cm[\s\p{Z}]*$'), round(n * 0.01, 9), n))[1]
        else scaled(as_number(written, comma), factor) end;

-- name: as_dbm
-- A level in dBm: with dBm behind it, else in the unit of its heading, of which `factor` is -1
-- where that is -dBm. A bare number comes first, because it is common and cheap.
create or replace temp macro as_dbm(written, comma, factor) as
    coalesce(scaled(as_number(written, comma), factor),
        bare_number(written, 'dbm', comma));

-- name: as_percent
-- A share in percent: with a percent sign, else in the unit of its heading.
create or replace temp macro as_percent(written, comma, factor) as
    case when contains(written, '%') then as_number(replace(written, '%', ''), comma)
        else scaled(as_number(written, comma), factor) end;

-- name: as_power
-- A power in dBm: with dBm or mW behind it (10 log10 of milliwatts), else in mW where its heading
-- says so.
create or replace temp macro as_power(written, comma, in_mw) as
    case when regexp_matches(lower(written), '\d[\s\p{Z}]*mw[\s\p{Z}]*$')
            or (in_mw and not contains(lower(written), 'dbm'))
        then list_transform([as_number(bare(written, 'mw'), comma)],
            lambda n: case when n > 0 then 10 * log10(n) end)[1]
        else bare_number(written, 'dbm', comma) end;

-- name: of_frequency
-- The IEEE 802.15.4 channel at a frequency in MHz: 2405 + 5 (k - 11) is that of channel k; null
-- for any other.
create or replace temp macro of_frequency(mhz) as
    case when mhz between 2405 and 2480 and mhz % 5 = 0
        then cast((mhz - 2405) / 5 as integer) + 11 end;

-- name: bare_channel
-- A channel in lower case, without a word such as `ch` before it.
create or replace temp macro bare_channel(written) as
    regexp_replace(translate(lower(filled(written)), '０１２３４５６７８９', '0123456789'),
        '^(channel|kanal|kanał|kanaal|canal|canale|チャネル|チャンネル|ch)\.?[\s\p{Z}_:-]*', '');

-- name: hex_channel
-- A channel from hex digits; null where it is none, nor 0 or 255, which stand for none set.
create or replace temp macro hex_channel(digits) as
    case when try_cast('0x' || digits as integer) between 11 and 26
            or try_cast('0x' || digits as integer) in (0, 255)
        then try_cast('0x' || digits as integer) end;

-- name: odd_channel
-- A channel, as `bare_channel` leaves it, that is not written in plain decimal digits.
create or replace temp macro odd_channel(bare, comma, numerals) as
    case
        when regexp_full_match(bare, '0x[0-9a-f]{1,2}') then try_cast(bare as integer)
        when regexp_full_match(bare, '[0-9a-f]{2}h') then hex_channel(left(bare, 2))
        when regexp_full_match(bare, '2\.4\d{1,3} ?ghz') then of_frequency(
            try_cast(round(1000 * try_cast(regexp_extract(bare, '[\d.]+') as double)) as integer))
        when regexp_full_match(bare, '24\d\d ?mhz')
            then of_frequency(try_cast(left(bare, 4) as integer))
        when regexp_full_match(bare, '\d\d ?[(\[/,@]? ?24\d\d ?mhz ?[)\]]?')
            then case when of_frequency(try_cast(regexp_extract(bare, '(24\d\d) ?mhz', 1) as integer))
                = try_cast(left(bare, 2) as integer)
                then try_cast(left(bare, 2) as integer) end
        when numerals = 'hex' and regexp_full_match(bare, '[0-9a-f]{1,2}') then hex_channel(bare)
        when numerals = 'decimal' then as_whole(bare, comma)
    end;

-- name: as_channel
-- A channel in the file's numerals, 'decimal' or 'hex', or as a frequency where they are 'MHz'. Hex
-- after 0x, and a frequency in MHz alone or behind its channel, are read in any file. The plain
-- form comes first, because it is common and cheap; lists as in `bare_number`.
create or replace temp macro as_channel(written, comma, numerals) as
    case
        when numerals = 'decimal' and regexp_full_match(written, '\d{1,3}')
            then try_cast(written as integer)
        when numerals = 'MHz'
            then list_transform([bare_number(written, 'mhz', comma)], lambda n: of_frequency(n))[1]
        else list_transform([bare_channel(written)], lambda c: odd_channel(c, comma, numerals))[1]
    end;

-- name: other_band
-- Whether a cell means a channel or frequency outside 2.4 GHz: a number other than 11 to 26, also in
-- MHz or GHz. 0 and 255 stand for none set. `channel` is what `as_channel` makes of the cell.
create or replace temp macro other_band(written, channel, numerals) as
    case when channel is not null then not (channel between 11 and 26 or channel in (0, 255))
        else coalesce(not list_transform(
            [regexp_extract(lower(written), '^\s*(\d{1,4}([.,]\d+)?) ?(mhz|ghz)?\s*$', ['n', '_', 'unit'])],
            lambda f: if(f.n = '' or f.unit = '' and numerals <> 'MHz', null,
                try_cast(replace(f.n, ',', '.') as double) * if(f.unit = 'ghz', 1000, 1))
                between 2400 and 2484)[1], false) end;

-- name: as_wifi_channel
-- A Wi-Fi channel, or that of its centre frequency in MHz (IEEE 802.11, 2.4 GHz): 2412 is channel
-- 1, each channel 5 MHz on, 2484 channel 14.
create or replace temp macro as_wifi_channel(written, comma) as
    list_transform([try_cast(bare_number(written, 'mhz', comma) as integer)], lambda n: case
        when n = 2484 then 14 when n between 2412 and 2472 and n % 5 = 2 then (n - 2407) // 5
        when n between 1 and 14 then as_whole(written, comma) end)[1];

-- name: as_flag
-- Yes or no, in any language of the exports; null when the word is neither.
create or replace temp macro as_flag(written) as
    case
        when written = 'yes' then true
        when written = 'no' then false
        when lower(trim(written)) in ('yes', 'y', 'true', 't', '1', 'on', 'online', 'connected',
            'ja', 'j', 'wahr', 'tak', 'prawda', 'oui', 'vrai', 'sí', 'si', 'sì', 'sim', 'vero',
            'はい', '有', 'ano', 'igen', 'da', 'verbunden', 'ok', 'active', 'up', 'reachable', '✓') then true
        when lower(trim(written)) in ('no', 'n', 'false', 'f', '0', 'off', 'offline',
            'disconnected', 'nein', 'nee', 'falsch', 'nie', 'fałsz', 'non', 'faux', 'não', 'falso',
            'いいえ', '無', 'ne', 'nem', 'nu', 'getrennt', 'inactive', 'down', 'unreachable', '✗') then false
    end;

-- name: as_iso
-- A date or time stamp with its day year first, from the file's order of day and month. A year of
-- two digits up to 12 could be a day or a month as well: it stays as it is.
create or replace temp macro as_iso(written, day_order) as
    case
        when day_order = 'iso' then written
        when regexp_matches(written, '^\d{4}') then written
        when day_order = 'dmy' then regexp_replace(regexp_replace(written,
            '^(\d{1,2})[./-](\d{1,2})[./-](1[3-9]|[2-9]\d)(\D|$)', '20\3-\2-\1\4'),
            '^(\d{1,2})[./-](\d{1,2})[./-](\d{4})', '\3-\2-\1')
        else regexp_replace(regexp_replace(written,
            '^(\d{1,2})[./-](\d{1,2})[./-](1[3-9]|[2-9]\d)(\D|$)', '20\3-\1-\2\4'),
            '^(\d{1,2})[./-](\d{1,2})[./-](\d{4})', '\3-\1-\2')
    end;

-- name: of_serial
-- The moment of a spreadsheet's serial number: days since 30 December 1899, as ECMA-376 has them.
create or replace temp macro of_serial(written) as
    make_timestamp(
        try_cast(round((try_cast(written as double) - 25569) * 86400) as bigint) * 1000000);

-- name: as_day
-- A day; null when the cell is none. Years outside 1990..2199 are slips, not days.
-- The plain form comes first, because it is common and cheap.
create or replace temp macro as_day(written, day_order) as
    case
        when written like '20__-__-__' then try_cast(written as date)
        else coalesce(list_transform([try_cast(as_iso(replace(written, '/', '-'), day_order) as date)],
            lambda d: case when d between date '1990-01-01' and date '2199-12-31' then d end)[1], case
        when day_order = 'iso' and regexp_full_match(written, '(19|20|21)\d{6}')
            then cast(try_strptime(written, '%Y%m%d') as date)
        when regexp_full_match(written, '\d{4}\.\d{1,2}\.\d{1,2}')
            then try_cast(replace(written, '.', '-') as date)
        when regexp_full_match(written, '4\d{4}') then of_serial(written)::date
        when regexp_full_match(written, '\d{4}年\d{1,2}月\d{1,2}日')
            then try_strptime(written, '%Y年%m月%d日')::date
        when regexp_matches(written, '[A-Za-z]{3}') then try_strptime(written, ['%d %b %Y',
            '%d %B %Y', '%d-%b-%Y', '%d. %B %Y', '%b %d, %Y', '%B %d, %Y', '%b %d %Y'])::date
    end) end;

-- name: has_offset
-- Whether a time stamp states its offset from UTC: Z, UTC, +02:00 or -05:00 after the time of day,
-- or counts the seconds or milliseconds of the epoch.
create or replace temp macro has_offset(written) as
    case
        when written like '____-__-_____:__:__' then false
        when written is null then false
        else contains(substr(written, 12), '+') or contains(substr(written, 12), '-')
            or contains(substr(written, 12), 'Z') or contains(substr(written, 12), 'z')
            or contains(substr(written, 12), 'UTC') or contains(substr(written, 12), 'GMT')
            or length(written) in (10, 13) and regexp_full_match(written, '1(\d{9}|\d{12})')
    end;

-- name: odd_moment
-- A moment as machines and other clocks write it: seconds or milliseconds of the epoch, a
-- spreadsheet's serial number with its fraction, digits alone, hours with AM or PM.
create or replace temp macro odd_moment(written, day_order) as
    case
        when regexp_full_match(written, '1\d{9}')
            then make_timestamp(cast(written as bigint) * 1000000)
        when regexp_full_match(written, '1\d{12}')
            then make_timestamp(cast(written as bigint) * 1000)
        when regexp_full_match(written, '4\d{4}[.]\d+') then of_serial(written)
        when regexp_full_match(written, '20\d{6}[T ]?\d{6}')
            then try_strptime(regexp_replace(written, '[T ]', ''), '%Y%m%d%H%M%S')
        when regexp_full_match(lower(written),
            '[\d./-]{8,10} +(0?[1-9]|1[0-2])[:.]\d{2}([:.]\d{2})? ?[ap]\.?m\.?')
            then try_strptime(as_iso(split_part(written, ' ', 1), day_order) || ' '
                || replace(replace(regexp_extract(lower(written), ' +(\d.*\d)', 1), '.', ':'), ' ', '')
                || if(contains(lower(written), 'p'), ' PM', ' AM'),
                ['%Y-%m-%d %I:%M:%S %p', '%Y-%m-%d %I:%M %p'])
    end;

-- name: as_moment
-- A moment: in UTC where the cell states an offset, else as the clock showed. Null without a time
-- of day. The two plain forms come first, because they are common and cheap; the others must be
-- a time and nothing else: the cast would read 03:-05:00 as 03:00 five hours west of Greenwich.
create or replace temp macro as_moment(written, day_order) as
    case
        when written like '____-__-_____:__:__' then try_cast(written as timestamp)
        when day_order = 'dmy' and written like '__.__.____ __:__:__' then try_cast(
            substr(written, 7, 4) || '-' || substr(written, 4, 2) || '-' || substr(written, 1, 2)
            || substr(written, 11) as timestamp)
        when length(written) >= 12 and contains(written, ':') and has_offset(written)
            then case when regexp_full_match(written,
            '\s*[\d./-]+[\sT]+\d{1,2}:\d{2}(:\d{2}([.,]\d+)?)?\s*([zZ]|UTC|GMT|[+-]\d{2}(:?\d{2})?)\s*')
            then make_timestamp(epoch_us(try_cast(as_iso(written, day_order) as timestamptz))) end
        when length(written) >= 12 and regexp_full_match(written,
            '\s*[\d./-]+[\sT]+\d{1,2}:\d{1,2}(:\d{1,2}([.,]\d+)?)?\s*')
            then try_cast(as_iso(written, day_order) as timestamp)
        else list_transform([filled(written)], lambda w: odd_moment(w, day_order))[1]
    end;

-- name: as_time
-- A time of day; null when the cell is none. 24:00 is the last moment of the day.
create or replace temp macro as_time(written) as
    case
        when regexp_full_match(written, '24[:.]?00([:.]00)?') then time '23:59:59'
        when regexp_full_match(written, '\d{4}')
            then try_cast(left(written, 2) || ':' || right(written, 2) as time)
        when lower(written) in ('noon', 'midday', 'mittag') then time '12:00:00'
        when regexp_full_match(written, '\d{1,2}[:.]\d{2}([:.]\d{2}(\.\d+)?)?')
            then try_cast(replace(written, '.', ':') as time)
        when regexp_full_match(lower(written), '([01]?\d|2[0-3])(h(\d{2})?| ?uhr)?')
            then try_cast(regexp_extract(written, '\d+') || ':'
                || coalesce(nullif(regexp_extract(lower(written), 'h(\d{2})', 1), ''), '00') as time)
        when regexp_full_match(lower(written), '(0?[1-9]|1[0-2])([:.]\d{2})? ?[ap]\.?m\.?')
            then try_cast((cast(regexp_extract(written, '^\d+') as integer) % 12
                + if(contains(lower(written), 'p'), 12, 0)) || ':'
                || coalesce(nullif(regexp_extract(written, '[:.](\d{2})', 1), ''), '00') as time)
    end;

-- name: all_day
-- Whether the cells of both ends of trading say that a store never closes.
create or replace temp macro all_day(opens, closes) as
    lower(opens) in ('24/7', '24x7', '24h', '24 h', '24 hours', '24 std', '24 stunden', '0-24')
    and lower(closes) in ('24/7', '24x7', '24h', '24 h', '24 hours', '24 std', '24 stunden', '0-24');

-- name: as_opening
-- The start of trading; midnight is that of the day that begins.
create or replace temp macro as_opening(opens, closes) as
    case when all_day(opens, closes) then time '00:00:00'
        when lower(opens) in ('midnight', 'mitternacht', 'minuit', 'północ') then time '00:00:00'
        else as_time(opens) end;

-- name: as_closing
-- The end of trading; midnight and 24 are the last moment of the day.
create or replace temp macro as_closing(opens, closes) as
    case when all_day(opens, closes) then time '23:59:59'
        when lower(closes) in ('midnight', 'mitternacht', 'minuit', 'północ') then time '23:59:59'
        when regexp_full_match(lower(closes), '24( ?uhr| ?h)?') then time '23:59:59'
        else as_time(closes) end;

-- name: as_pan_id
-- A PAN ID, 0..65535: hex after 0x, and where four digits hold a letter. Other digits are read in
-- the file's numerals, 'hex' or 'decimal'; where these are 'unsure', four digits are no PAN ID.
create or replace temp macro as_pan_id(written, numerals) as
    case
        when regexp_full_match(written, '0[xX][0-9a-fA-F]{1,4}') then try_cast(written as integer)
        when regexp_full_match(written, '[0-9a-fA-F]{4}') and regexp_matches(written, '[a-fA-F]')
            or numerals = 'hex' and regexp_full_match(written, '[0-9a-fA-F]{1,4}')
            then try_cast('0x' || written as integer)
        when numerals = 'hex' or numerals = 'unsure' and regexp_full_match(written, '\d{4}') then null
        when regexp_full_match(written, '\d{1,5}') and try_cast(written as integer) <= 65535
            then try_cast(written as integer)
    end;

-- name: bare_hex
-- Hex digits without 0x before them and marks or blanks between them.
create or replace temp macro bare_hex(written) as
    regexp_replace(written, '^[\s\p{Z}]*0[xX]|[\s\p{Z}:.-]', '', 'g');

-- name: as_eui64
-- An EUI-64, or an EUI-48, as lower-case hex digits; as written when it is neither.
create or replace temp macro as_eui64(written) as
    case when regexp_full_match(bare_hex(written), '[0-9a-fA-F]{12}|[0-9a-fA-F]{16}')
        then lower(bare_hex(written)) else written
    end;

-- name: lost_address
-- Whether an address is none any more: a number that a spreadsheet rounded, or octets above 255.
create or replace temp macro lost_address(written) as
    regexp_full_match(written, '\d+([.,]\d+)?[eE][+]\d+')
    or regexp_full_match(written, '\d{1,3}([.]\d{1,3}){3}')
        and list_max(list_transform(string_split(written, '.'), lambda o: try_cast(o as integer))) > 255;

-- name: as_statistic
-- What an energy reading is: 'single', 'max' or 'mean'. Not stated means 'single'.
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

-- name: as_status
-- Whether a station is 'planned', 'installed' or 'removed', or no station but a 'place' where
-- somebody scanned, in the languages of the exports.
create or replace temp macro as_status(written) as
    case
        when lower(written) in ('planned', 'to install', 'to be installed', 'not installed',
            'not yet installed', 'not installed yet', 'pending', 'geplant', 'vorgesehen',
            'in planung', 'zu montieren', 'nicht montiert', 'noch nicht montiert', 'einzubauen',
            'prévu', 'prévue', 'planifié', 'planifiée', 'à installer', 'à poser', 'non installé',
            'non installée', 'planificado', 'planificada', 'previsto', 'prevista', 'por instalar',
            'sin instalar', 'pianificato', 'pianificata', 'da installare', 'non installato',
            'non installata', 'gepland', 'te plaatsen', 'te installeren', 'nog te plaatsen',
            'niet geplaatst', 'planowany', 'planowana', 'planowane', 'zaplanowany', 'zaplanowana',
            'do montażu', 'do instalacji', 'niezainstalowana', '予定', '計画', '計画中', '未設置',
            '設置予定') then 'planned'
        when lower(written) in ('installed', 'in place', 'mounted', 'in service', 'commissioned',
            'live', 'montiert', 'installiert', 'eingebaut', 'in betrieb', 'verbaut', 'installé',
            'installée', 'posé', 'posée', 'en service', 'instalado', 'instalada', 'montado',
            'montada', 'en servicio', 'installato', 'installata', 'montato', 'montata',
            'in servizio', 'geplaatst', 'geïnstalleerd', 'gemonteerd', 'in gebruik',
            'zainstalowany', 'zainstalowana', 'zamontowany', 'zamontowana', '設置済', '設置済み',
            '稼働中') then 'installed'
        when lower(written) in ('removed', 'dismantled', 'taken down', 'decommissioned', 'retired',
            'entfernt', 'demontiert', 'ausgebaut', 'abgebaut', 'stillgelegt', 'retiré', 'retirée',
            'déposé', 'déposée', 'démonté', 'démontée', 'retirado', 'retirada', 'desmontado',
            'desmontada', 'rimosso', 'rimossa', 'smontato', 'smontata', 'dismesso', 'dismessa',
            'verwijderd', 'gedemonteerd', 'usunięty', 'usunięta', 'zdemontowany', 'zdemontowana',
            '撤去', '撤去済', '撤去済み') then 'removed'
        when lower(written) in ('place', 'scan place', 'survey point', 'measuring point',
            'messpunkt', 'messort', 'point de mesure', 'punto de medición', 'punto di misura',
            'meetpunt', 'punkt pomiarowy', '測定点') then 'place'
    end;

-- name: as_unit
-- The unit of a level: 'dbm', '-dbm' (magnitudes) or 'raw' (0..255 on a declared scale).
create or replace temp macro as_unit(written) as
    case
        when lower(written) = 'dbm' then 'dbm'
        when lower(replace(replace(written, '−', '-'), ' ', '')) in ('-dbm', 'minusdbm') then '-dbm'
        when lower(written) in ('raw', 'raw 0-255', '0-255', 'roh', 'rohwert') then 'raw'
    end;

-- name: as_level
-- A level in dBm from a number in one of these units; null where the unit cannot give one.
create or replace temp macro as_level(number, unit, zero_dbm, db_per_step) as
    case unit
        when 'dbm' then number
        when '-dbm' then -number
        when 'raw' then case when number between 0 and 255
            then round(zero_dbm + number * db_per_step, 6) end
    end;

-- name: as_floor
-- A floor, as a number or by a usual name; 0 is the ground floor.
create or replace temp macro as_floor(written, comma) as
    case
        when lower(written) in ('eg', 'ground', 'ground floor', 'g', 'erdgeschoss', 'parter',
            'gf', 'rdc', 'rez-de-chaussée', 'planta baja', 'piano terra') then 0
        when lower(written) in ('ug', 'kg') then -1
        when regexp_full_match(lower(written), 'b\d{1,2}')
            then -try_cast(regexp_extract(written, '\d+') as integer)
        when regexp_full_match(lower(written), 'og ?\d{1,2}')
            then try_cast(regexp_extract(written, '\d+') as integer)
        when regexp_full_match(lower(written), '\d{1,2}\. ?og')
            then try_cast(regexp_extract(written, '\d+') as integer)
        when regexp_full_match(lower(written), '\d{1,2}\. ?ug')
            then -try_cast(regexp_extract(written, '\d+') as integer)
        else as_whole(written, comma)
    end;

-- name: ascending
-- Channels as '11 15 20 25', each once, ascending; null where one of them is null.
create or replace temp macro ascending(channels) as
    case when len(list_filter(channels, lambda c: c is null)) = 0
        then array_to_string(list_transform(list_sort(list_distinct(channels)),
            lambda c: cast(c as varchar)), ' ') end;

-- name: as_channels
-- A list of channels as '11 15 20 25', ascending; null when the cell is no list of channels.
-- A list in that form comes first, because it is common and cheap.
create or replace temp macro as_channels(written, numerals) as
    case
        when numerals <> 'hex' and regexp_full_match(written || ' ', '(11 )?(12 )?(13 )?(14 )?'
            || '(15 )?(16 )?(17 )?(18 )?(19 )?(20 )?(21 )?(22 )?(23 )?(24 )?(25 )?(26 )?')
            then written
        when numerals <> 'hex' and regexp_full_match(written, '\s*\d{1,2}([ ,;/|+]+\d{1,2})*\s*')
            then ascending(list_transform(regexp_extract_all(written, '\d+'),
                lambda c: try_cast(c as integer)))
        when regexp_full_match(lower(written), '\s*0x[0-9a-f]{1,2}([ ,;/|+]+0x[0-9a-f]{1,2})*\s*')
            or numerals = 'hex' and regexp_full_match(lower(written),
                '\s*(0x)?[0-9a-f]{1,2}([ ,;/|+]+(0x)?[0-9a-f]{1,2})*\s*')
            then ascending(list_transform(
                regexp_extract_all(replace(lower(written), '0x', ''), '[0-9a-f]+'),
                lambda c: hex_channel(c)))
    end;

-- name: wrong
-- One thing wrong with a row: the problem's name, the field, and what the cell said.
create or replace temp macro wrong(problem, field, cell) as
    {'problem': problem, 'field': field, 'cell': coalesce(cell, '')};

-- name: heard_level
-- The level of a sender, as far as a receiver can report it; else null.
create or replace temp macro heard_level(level) as
    case when level between -130 and 0 and not no_measurement(level) then level end;

-- name: level_problem
-- The problem of a level that is no heard level.
create or replace temp macro level_problem(level) as
    if(no_measurement(level), 'no-measurement', 'level-impossible');

-- name: is_reading
-- Whether a level can be an energy reading. Above 0 dBm it is over the receiver's range; a magnitude
-- without its sign cannot be. Raw values have no codes: 0 is the least that is measured.
create or replace temp macro is_reading(level, unit) as
    level between -130 and if(unit = '-dbm', 0, 40) and (unit = 'raw' or not no_measurement(level));

-- name: reading_problem
-- The problem of a level that is no reading.
create or replace temp macro reading_problem(level, unit) as
    if(unit <> 'raw' and no_measurement(level), 'no-measurement', 'reading-impossible');

-- name: within
-- A number that can be; null where it lies outside of what is possible.
create or replace temp macro within(number, least, most) as
    case when number between least and most then number end;

-- name: damaged
-- Whether a text holds a character that could not be decoded, or a control character.
create or replace temp macro damaged(written) as
    regexp_matches(written, '[\x{FFFD}\x00-\x08\x0b\x0c\x0e-\x1f\x7f]');

-- name: sound
-- A text of which every character could be decoded; null where it is damaged.
create or replace temp macro sound(written) as case when not damaged(written) then written end;
