"""What a plan rests on, and how good it is proven to be, as labels and values."""

from pipeline.report.store.content import StoreContent
from pipeline.wording import NOTHING, Wording


def gap(content: StoreContent) -> float:
    """Return how much of the plan's cost could still be saved at most, 0..1."""
    proof = content.proof
    if proof is None or proof.optimal or proof.cost <= 0:
        return 0.0
    return max(0.0, (proof.cost - proof.bound) / proof.cost)


def evidence_lines(content: StoreContent, words: Wording) -> list[tuple[str, str]]:
    """Return what the plan rests on and how good it is proven to be, as label and value."""
    figures = content.figures
    cells = figures.measured + figures.inferred + figures.absent
    shares = (
        (words(f"evidence.{key}"), words.percent(count / cells) if cells else NOTHING)
        for key, count in (
            ("measured", figures.measured),
            ("inferred", figures.inferred),
            ("absent", figures.absent),
            ("own_traffic", figures.own_traffic),
        )
    )
    sureness = " · ".join(map(words.number, figures.sureness.values()))
    return [
        *shares,
        (words("evidence.readings"), words.number(figures.readings_median)),
        (words("evidence.newest"), words.moment(figures.newest_scan)),
        (words("evidence.sureness"), sureness),
        *_proof_lines(content, words),
    ]


def _proof_lines(content: StoreContent, words: Wording) -> list[tuple[str, str]]:
    proof = content.proof
    if proof is None:
        return [(words("evidence.proof"), words("evidence.proof_none"))]
    found = words("evidence.proof_gap", gap=words.percent(gap(content)))
    best = words("evidence.proof_optimal") if proof.optimal else found
    order = "evidence.order_proven" if proof.order_proven else "evidence.order_found"
    lines = [(words("evidence.proof"), best), (words("evidence.order"), words(order))]
    if proof.draws:
        lost = words.percent(proof.regret, 1)
        again = words("evidence.drawn", near=proof.near, draws=proof.draws, lost=lost)
        lines.append((words("evidence.again"), again))
    return lines
