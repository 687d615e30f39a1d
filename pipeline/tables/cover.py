"""What no channel can settle: labels that another station would reach, and Wi-Fi to be changed."""

from pipeline.tables.declare import column, table


@table("cover_store", since=8)
class CoverStore:
    """How many labels of a store no channel can help, and what further places would do for them."""

    store: str = column("the store's key")
    labels: int = column("labels with a station", sql="bigint")
    levels: int = column("of those, with a level in the export", sql="bigint")
    weak_labels: int = column("of those, below the weak level on any channel", sql="bigint")
    share_now: float | None = column(
        "share of labels at the weak level or above, 0..1; null: not known", digits=6
    )
    places: int | None = column(
        "the fewest further places that bring the share asked for; null: three of those tried do "
        "not, or nothing is worked out", sql="bigint",
    )  # fmt: skip
    share_then: float | None = column("the share with the places chosen, expected", digits=6)
    bound: float | None = column("the most that so many of the places tried could bring", digits=6)
    optimal: bool | None = column("whether share and bound meet")
    why: str | None = column(
        "why nothing is worked out: 'enough', 'no-levels', 'unplaced', 'no-place'; null: it is"
    )


@table("cover_place", since=8)
class CoverPlace:
    """A place where a further station or antenna would bring weak labels up to the weak level."""

    store: str = column("the store's key")
    rank: int = column("1 is the one that helps most")
    place: str = column("its name; of a middle, the two stations it lies between")
    kind: str = column("'given' by the rules file, a 'mount' that exists, or a 'middle'")
    floor: int = column("floor; 0 is the ground floor")
    x_m: float = column("position east of the plan's origin", digits=2)
    y_m: float = column("position north of the plan's origin", digits=2)
    rescued: float = column("labels it brings up to the weak level, expected", digits=3)
    rescued_low: int = column("5 % point of it", sql="bigint")
    rescued_high: int = column("95 % point of it", sql="bigint")
    verdict: str = column("'order', 'measure' (not known: measure there first) or 'no'")
    reach_m: float = column("how far it would be heard at the weak level, on average", digits=2)
    channel: int | None = column("the channel it would take; null: the store has no plan")
    air_lost: float | None = column(
        "clear air, 0..1, by labels, that it would cost the other stations", digits=6
    )


@table("wifi_request", since=8)
class WifiRequest:
    """A change of Wi-Fi to ask for, and the clear air it would give back; best first.

    Clear air is the mean over the store's stations, by labels, 0..1, against the plan as it is.
    """

    store: str = column("the store's key")
    rank: int = column("1 is the one that gives back most")
    own: bool | None = column("whether the network is the shop's own; null: not known whose")
    what: str = column("'channel', 'width' or 'power'")
    networks: str = column("the networks to change, '; ' between them")
    wifi_channel: int = column("their Wi-Fi channel")
    width_mhz: int = column("the widest of their channels")
    to_channel: int | None = column("what: channel: the Wi-Fi channel to go to")
    to_width_mhz: int | None = column("what: width: the width to go to")
    less_db: float | None = column("what: power: by how much to lower it")
    gives: float = column("given back with the plan's channels as they are", digits=6)
    gives_low: float = column("5 % point of it", digits=6)
    gives_high: float = column("95 % point of it", digits=6)
    plan_gives: float = column("given back with the plan that would then be best", digits=6)
    plan_gives_low: float = column("5 % point of it", digits=6)
    plan_gives_high: float = column("95 % point of it", digits=6)
    channels: str = column(
        "the channels of that plan that are others, 'station 15 → 20, ...'; or empty"
    )


@table("wifi_avoid", since=8)
class WifiAvoid:
    """A network of others that a plan can only avoid, the costliest first."""

    store: str = column("the store's key")
    network: str = column("its name or address")
    wifi_channel: int = column("its Wi-Fi channel")
    width_mhz: int = column("width of its channel")
    loudest_dbm: float | None = column("the loudest it is heard at a station")
    stations: int = column("stations that hear it above the threshold", sql="bigint")
    costs: float = column("clear air it takes on the plan's channels, by labels, 0..1", digits=6)
