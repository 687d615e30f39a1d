"""What rules are called and what their findings say, in the language of a report."""

import json
from collections.abc import Mapping
from dataclasses import dataclass

from pipeline.database import Database
from pipeline.errors import PhraseUnfilled
from pipeline.phrases import fill, style
from pipeline.tables.run import RuleText
from pipeline.wording import DEFAULT_LANGUAGE, Wording


@dataclass(frozen=True, slots=True, eq=False)  # so that what it says can be kept
class RuleBook:
    """The words that the last check kept, by rule and language."""

    texts: Mapping[tuple[str, str], RuleText]

    def title(self, rule: str, language: str) -> str:
        """Return what a rule is called: in English where it must be, by its name if it is gone."""
        text = self.texts.get((rule, language)) or self.texts.get((rule, DEFAULT_LANGUAGE))
        return text.title if text else rule.replace("-", " ")

    def sentence(self, rule: str, words: Wording, facts: str | None, detail: str) -> str:
        """Return what a finding says: its facts in words, or the English sentence `detail`.

        `facts` is JSON; None, or facts of an older rule that lack a value, leave it in English.
        """
        text = self.texts.get((rule, words.language))
        if text is None or facts is None:
            return detail
        try:
            return fill(text.says, json.loads(facts), style(words.language, words.country))
        except PhraseUnfilled:
            return detail


def rule_book(database: Database) -> RuleBook:
    """Return the words of the last check."""
    texts = database.records(RuleText, "report", "rule_texts")
    return RuleBook({(text.rule, text.language): text for text in texts})
