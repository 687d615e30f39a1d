"""The limits of the rules file: numbers by name, some of them within bounds."""

from collections.abc import Mapping

from pipeline import rules_table as rules
from pipeline.rules_table import Reader, RulesTable, by_name, fits

NUMBER = fits("a number", rules.is_number, float)
_BOUNDED = {
    "rule_certainty": rules.number(0.5, 0.999),
    "interval_share": rules.number(0.5, 0.99),
    "hours_from": rules.whole(0, 23),
    "hours_until": rules.whole(1, 24),
    "visit_gap_hours": rules.number(1, 48),
    "evidence_half_life_days": rules.number(1, 36500),
    "own_traffic_weight": rules.number(0, 100),
    "comparison_days": rules.whole(1, 730),
    "remapped_share_most": rules.number(0, 1),
    "effect_to_see": rules.number(0.001, 1),
    "verdict_gain_least": rules.number(0, 1),
    "verdict_loss_most": rules.number(0, 1),
    "labels_verified_share": rules.number(0, 1),
}


def limits(*names: str) -> Reader:
    """Return a reader of the limits of these names."""
    read = by_name(NUMBER, *names)

    def bounded(table: RulesTable, key: str) -> Mapping[str, float]:
        found: Mapping[str, float] = read(table, key)
        own = table.below(key)
        for name, within in _BOUNDED.items():
            within(own, name)
        if found["hours_from"] >= found["hours_until"]:
            raise own.wrong("hours_until", "an hour after hours_from")
        return found

    return bounded
