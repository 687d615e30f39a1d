-- name: channel-adjacent
-- title: Stations in earshot use adjacent channels
-- severity: watch
-- why: The standard promises no rejection 5 MHz away; common radios give about
--   {adjacent_rejection_db} dB, so a neighbour close by still holds the channel busy.
--   In earshot means a chance of at least {earshot_probability} of being heard on one channel.
-- do: Keep stations that are close together at least two channels (10 MHz) apart, the loudest
--   pairs first; the chance in the detail says how often the neighbour would be heard.
-- source: IEEE 802.15.4 receiver jamming resistance (adjacent 0 dB, alternate 30 dB).
select store, station as subject,
    format('On channel {} beside {} in earshot: {}.', channel, counted(count(*), 'station'),
        named(list(format('{} on {} at {:.0f} dBm ({})', neighbour, neighbour_channel, heard_dbm,
                case when hit_adjacent < 0.01 then 'hardly gets through'
                    else format('gets through with a chance of {}', percent(hit_adjacent)) end)
            order by heard_dbm desc, neighbour))) as detail,
    channel, count(*) as neighbours, max(heard_dbm) as loudest_dbm
from in_earshot
where channels_apart = 1
group by store, station, channel
order by store, subject;
