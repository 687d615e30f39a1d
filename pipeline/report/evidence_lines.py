"""What a plan rests on, in lines of label and value, for print and workbook alike."""

from pipeline.report.content import StoreContent
from pipeline.report.verdict import gap
from pipeline.report.wording import Wording


def evidence_lines(content: StoreContent, words: Wording) -> list[tuple[str, str]]:
    """Return what the plan rests on, as label and value."""
    figures = content.figures
    cells = figures.measured + figures.inferred + figures.absent

    def share(count: int) -> str:
        return words.percent(count / cells) if cells else words.number(None)

    lines = [
        (words("evidence.measured"), share(figures.measured)),
        (words("evidence.inferred"), share(figures.inferred)),
        (words("evidence.absent"), share(figures.absent)),
        (words("evidence.own_traffic"), share(figures.own_traffic)),
        (words("evidence.readings"), words.number(figures.readings_median)),
        (words("evidence.newest"), words.moment(figures.newest_scan)),
        (
            words("evidence.sureness"),
            " · ".join(words.number(count) for count in figures.sureness.values()),
        ),
    ]
    return [*lines, *proof_lines(content, words)]


def proof_lines(content: StoreContent, words: Wording) -> list[tuple[str, str]]:
    """Return how good plan and order are proven to be, as label and value."""
    proof = content.proof
    if proof is None:
        return [(words("evidence.proof"), words("evidence.proof_none"))]
    found = words("evidence.proof_gap", gap=words.percent(gap(content)))
    best = words("evidence.proof_optimal") if proof.optimal else found
    order = "evidence.order_proven" if proof.order_proven else "evidence.order_found"
    lines = [(words("evidence.proof"), best), (words("evidence.order"), words(order))]
    if proof.draws:
        lost = words.percent(proof.regret, 1)
        again = words("evidence.drawn", wins=proof.wins, draws=proof.draws, lost=lost)
        lines.append((words("evidence.again"), again))
    return lines
