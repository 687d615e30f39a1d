-- name: channel-adjacent
-- title: Stations in earshot on adjacent channels
-- title.de: Stationen in Hörweite auf Nachbarkanälen
-- severity: watch
-- says: On channel {channel} beside {neighbours:# station|# stations} in earshot: {neighbours:each
--   {neighbour} on {channel} at {heard_dbm:.0f} dBm ({chance:case null=hardly gets
--   through|else=gets through with a chance of {chance:.1%}})}.
-- says.de: Auf Kanal {channel} neben {neighbours:# Station|# Stationen} in Hörweite:
--   {neighbours:each {neighbour} auf {channel} mit {heard_dbm:.0f} dBm ({chance:case null=dringt
--   kaum durch|else=dringt mit {chance:.1%} Wahrscheinlichkeit durch})}.
-- why: The standard promises no rejection 5 MHz away; common radios give about
--   {adjacent_rejection_db} dB, so a neighbour close by still holds the channel busy.
--   In earshot means a chance of at least {earshot_probability} of being heard on one channel.
-- do: Keep stations that are close together at least two channels (10 MHz) apart, the loudest
--   pairs first; the chance in the detail says how often the neighbour would be heard.
-- source: IEEE 802.15.4 receiver jamming resistance (adjacent 0 dB, alternate 30 dB).
select store, station as subject, channel,
    list({
        'neighbour': neighbour, 'channel': neighbour_channel, 'heard_dbm': heard_dbm,
        'chance': case when hit_adjacent >= 0.01 then hit_adjacent end
    } order by heard_dbm desc, neighbour) as neighbours
from in_earshot
where channels_apart = 1
group by store, station, channel
order by store, subject;
