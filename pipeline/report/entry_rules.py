"""What a cell to fill in takes: drop-downs, dates, and the messages beside them."""

from collections.abc import Sequence
from datetime import timedelta

from openpyxl.worksheet.datavalidation import DataValidation

from pipeline.forms import COPY, DECISIONS, PLAN_MARK, RESULTS, STORE_MARK, Form, folded
from pipeline.report.content import StoreContent
from pipeline.report.wording import Wording

_DAYS_AHEAD = 400  # what a date field takes; the rules file has the last word
_MOST_TEXT, _MOST_TITLE = 225, 32  # letters of a message (Excel's limits, from memory)


def entry_rule(
    words: Wording, content: StoreContent, form: Form, key: str, offered: Sequence[str] | None
) -> DataValidation:
    """Return the rule of one column to fill in, with its messages but without its cells."""
    rule = _rule(content, form, key, offered)
    message = f"input.{'done_by' if key == 'by' and form is RESULTS else key}"
    rule.promptTitle = words(f"{message}_title")[:_MOST_TITLE]
    rule.prompt = words(f"{message}_prompt")[:_MOST_TEXT]
    rule.showInputMessage = True
    if rule.type is not None:
        rule.errorTitle = words("input.error_title")[:_MOST_TITLE]
        rule.error = words(f"{message}_error")[:_MOST_TEXT]
        rule.showErrorMessage = True
    return rule


def approvers(content: StoreContent) -> tuple[str, ...]:
    """Return who may decide on the store's changes: no one who put them forward."""
    plan = content.plan
    proposer = folded(plan.proposed_by or "") if plan else ""
    return tuple(name for name in content.approvers if folded(name) != proposer)


def _rule(
    content: StoreContent, form: Form, key: str, offered: Sequence[str] | None
) -> DataValidation:
    if offered is not None:
        return DataValidation("list", f'"{",".join(offered)}"', allow_blank=True)
    plan = content.plan
    if key in {"date", "done_at"} and plan is not None:
        first, last = plan.proposed_on, plan.proposed_on + timedelta(days=_DAYS_AHEAD)
        ends = [f"DATE({day.year},{day.month},{day.day})" for day in (first, last)]
        return DataValidation("date", ends[0], ends[1], allow_blank=True, operator="between")
    names = approvers(content)
    if key == "by" and form is DECISIONS and names:
        first_row = len((PLAN_MARK, STORE_MARK)) + 1  # on the hidden sheet, below the marks
        cells = f"{COPY}!$B${first_row}:$B${first_row + len(names) - 1}"
        return DataValidation("list", cells, allow_blank=True)
    return DataValidation(allow_blank=True)
