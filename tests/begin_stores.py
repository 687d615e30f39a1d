"""Random stores with any mix of stations planned, installed and removed, as exports."""

import random
from itertools import product
from math import fsum, log1p

from pipeline.plan.costs import StoreProblem
from pipeline.records import OFF_AIR

DAY = "2026-09-30"
STATUS = ("planned", "planned", "installed", "", "removed")
PERMITTED = (11, 15, 20, 25, 26)
LISTENS = ("11 15 20 25", "15 20 25 26", "11 20", "")
STATIONS = "store,station,channel,pan id,x m,y m,installation status,exported on\n"
_NO_PLACE = 0.2  # share of stores drawn without coordinates
_SPAN_M = 40


def exports(seed: int, stores: int, most: int = 7) -> dict[str, str]:
    """Return the files of some stores, each with up to `most` stations."""
    chance = random.Random(seed)
    files = {
        "stores.csv": "store,name,region,country,exported on\n",
        "stations.csv": STATIONS,
        "scans.csv": "store,station,scanned at,channel,level dbm\n",
        "labels.csv": "store,label,station,level dbm,listens on,exported on\n",
        "wifi.csv": "store,network,wi-fi channel,level dbm,utilisation %,surveyed on\n",
    }
    for number in range(stores):
        store = f"R{number:03}"
        files["stores.csv"] += f"{store},{store},North,GB,{DAY}\n"
        _store(chance, store, files, chance.randint(1, most))
    return files


def _store(chance: random.Random, store: str, files: dict[str, str], stations: int) -> None:
    placed, listens = chance.random() > _NO_PLACE, chance.choice(LISTENS)
    labelled = chance.random() < 0.5
    for network in range(chance.randint(0, 3)):
        beside, level, busy = (
            chance.choice((1, 6, 11)),
            chance.randint(-80, -45),
            chance.randint(5, 80),
        )
        files["wifi.csv"] += f"{store},N{network},{beside},{level},{busy},{DAY}\n"
    for number in range(stations):
        station, status = f"S{number}", chance.choice(STATUS)
        channel = "" if status == "planned" else str(chance.choice((*PERMITTED, 18)))
        x, y = (chance.randint(0, _SPAN_M), chance.randint(0, _SPAN_M)) if placed else ("", "")
        pan = "" if status == "planned" else f"0x{chance.randint(1, 0xFFFD):04X}"
        files["stations.csv"] += f"{store},{station},{channel},{pan},{x},{y},{status},{DAY}\n"
        if status == "planned":
            continue
        for label in range(chance.randint(0, 4) if labelled else 0):
            files["labels.csv"] += f"{store},{station}L{label},{station},-60,{listens},{DAY}\n"
        for hour in range(chance.choice((0, 8))):
            for scanned in PERMITTED:
                level = chance.choice((-95, -95, -90, -60))
                files["scans.csv"] += (
                    f"{store},{station},2026-09-29 1{hour}:00:00,{scanned},{level}\n"
                )


def cost_of(problem: StoreProblem, channels: tuple[int, ...]) -> float:
    """Return what a choice of channels costs, from the figures of the problem alone."""
    on = dict(zip((s.station for s in problem.stations), channels, strict=True))
    by_name = {s.station: s for s in problem.stations}
    terms = [
        s.weight
        * (
            problem.noise_cost(s.station, c)
            - log1p(-min(problem.lost.get((s.station, c), 0.0), 0.999))
        )
        + problem.price_per_move * (s.channel not in (c, OFF_AIR))
        for s, c in zip(problem.stations, channels, strict=True)
    ]
    for heard in problem.heard:
        apart = abs(on[heard.station] - on[heard.neighbour])
        share = by_name[heard.neighbour].air_share
        chance = heard.hit[apart] if apart < len(heard.hit) else 0.0
        terms.append(by_name[heard.station].weight * -log1p(-min(share * chance, 0.999)))
    return fsum(terms)


def least(problem: StoreProblem, fixed: dict[str, int] | None = None) -> float:
    """Return the least cost of all choices; stations in `fixed` have their channel."""
    held = fixed or {}
    choices = [
        (held[s.station],)
        if s.station in held
        else sorted({*s.choices, *({s.channel} & set(s.choices))})
        for s in problem.stations
    ]
    return min(cost_of(problem, channels) for channels in product(*choices))
