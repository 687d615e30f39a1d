"""The rules file: defaults, refusals and what it decides."""

import tomllib
from pathlib import Path

import pytest

from pipeline.check.rules import rule_list
from pipeline.errors import RulesFileUnreadable, RulesKeyUnknown, RulesValueWrong
from pipeline.records import Severity
from pipeline.settings import DEFAULT_RULES, load_settings


def _rules(folder: Path, text: str) -> Path:
    path = folder / "rules.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_the_shipped_file_holds_every_default() -> None:
    """Without a file of one's own the shipped one decides."""
    settings = load_settings()

    assert settings.channels.default == (11, 15, 20, 25, 26)
    assert settings.limits["cca_threshold_dbm"] == -75
    assert settings.exceptions == ()


def test_own_values_replace_defaults_one_by_one(tmp_path: Path) -> None:
    """What a file leaves out keeps its default."""
    path = _rules(tmp_path, "[limits]\nclear_air_target = 0.8\n")

    settings = load_settings(path)

    assert settings.limits["clear_air_target"] == 0.8
    assert settings.limits["cca_threshold_dbm"] == -75


def test_the_most_special_channels_win(tmp_path: Path) -> None:
    """A store's own entry beats its type's, which beats its region's."""
    path = _rules(
        tmp_path,
        "[channels]\npermitted = [11]\nper_region = { N = [15, 20] }\n"
        "per_store_type = { small = [25] }\nper_store = { S1 = [26, 12] }\n",
    )

    channels = load_settings(path).channels

    assert channels.of("S1", "N", "small") == (12, 26)
    assert channels.of("S2", "N", "small") == (25,)
    assert channels.of("S2", "N", "big") == (15, 20)
    assert channels.of("S2", None, None) == (11,)


def test_exceptions_and_severities_are_read(tmp_path: Path) -> None:
    """An exception has a rule, a place, a reason, a name and a last day."""
    path = _rules(
        tmp_path,
        '[severity]\nchannel-busy = "watch"\n[[exception]]\nrule = "channel-busy"\nstore = "S1"\n'
        'reason = "trial"\napproved_by = "A"\nuntil = 2027-01-31\n',
    )

    settings = load_settings(path)

    assert settings.severity == {"channel-busy": Severity.WATCH}
    assert [(e.store, e.subject, e.until.isoformat()) for e in settings.exceptions] == [
        ("S1", "*", "2027-01-31")
    ]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("[limits]\nclear_air_targt = 1\n", "Did you mean 'clear_air_target'"),
        ("[limit]\nx = 1\n", "Did you mean 'limits'"),
        ("[channels]\npermited = [11]\n", "Did you mean 'permitted'"),
        ("[[exception]]\nrule = 'x'\nreasn = 'y'\n", "Did you mean 'reason'"),
    ],
)
def test_unknown_keys_name_the_nearest_known_one(tmp_path: Path, text: str, says: str) -> None:
    """A typing error is never silently without effect."""
    with pytest.raises(RulesKeyUnknown, match=says):
        load_settings(_rules(tmp_path, text))


@pytest.mark.parametrize(
    "text",
    [
        "[limits]\ncca_threshold_dbm = 'loud'\n",
        "[limits]\nrule_certainty = 1\n",
        "[limits]\ninterval_share = 90\n",
        "[limits]\nvisit_gap_hours = 0\n",
        "[limits]\nhours_from = 8.5\n",
        "[limits]\nhours_from = 20\n",
        "[limits]\nevidence_half_life_days = 0\n",
        "[limits]\ncca_threshold_dbm = true\n",
        "[channels]\npermitted = []\n",
        "[channels]\npermitted = [10]\n",
        "[channels]\nper_region = [11]\n",
        "[model]\npath_loss = 'guess'\n",
        "[severity]\nx = 'bad'\n",
        "[scales]\na = { zero_dbm = -100 }\n",
        "[approvers]\nnames = 'A'\n",
        "[firmware]\nstandard = 2\n",
        "[headings.stations]\n'Kanal' = 3\n",
        "limits = 3\n",
        "limits = []\n",
        "severity = 3\n",
        "scales = []\n",
        "[scales]\na = { zero_dbm = 'loud', db_per_step = 1 }\n",
        "exception = 3\n",
        "[exception]\nrule = 'x'\n",
        "[[exception]]\nrule = 'x'\nreason = 'y'\napproved_by = 'z'\nuntil = '2027'\n",
        "[[exception]]\nrule = 'x'\nreason = ' '\napproved_by = 'z'\nuntil = 2027-01-01\n",
    ],
)
def test_values_of_the_wrong_kind_are_refused(tmp_path: Path, text: str) -> None:
    """The sentence names the key, the value and what is expected."""
    with pytest.raises(RulesValueWrong, match="expected"):
        load_settings(_rules(tmp_path, text))


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("[severity]\nx = 'bad'\n", "sets severity.x = 'bad'; expected one of stop, fix, watch"),
        ("[limits]\ncca_threshold_dbm = 2026-10-01\n", "cca_threshold_dbm = 2026-10-01; expected"),
        ("[[exception]]\nreason = 'x'\n", "does not set exception.rule; expected a text"),
        (
            "[scales]\na = { zero_dbm = 1 }\n",
            "does not set scales.a.db_per_step; expected a number",
        ),
        ("[channels.per_store]\nS1 = [10]\n", "sets channels.per_store.S1 = .10.; expected a list"),
    ],
)
def test_refusals_are_sentences(tmp_path: Path, text: str, says: str) -> None:
    """They say where, what, and what would do instead."""
    with pytest.raises(RulesValueWrong, match=says):
        load_settings(_rules(tmp_path, text))


def test_an_unreadable_file_is_one_sentence(tmp_path: Path) -> None:
    """Not there, not TOML, not text: the same error."""
    with pytest.raises(RulesFileUnreadable):
        load_settings(tmp_path / "none.toml")
    with pytest.raises(RulesFileUnreadable):
        load_settings(_rules(tmp_path, "[limits"))
    binary = tmp_path / "b.toml"
    binary.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(RulesFileUnreadable):
        load_settings(binary)


def test_the_sample_exception_names_a_rule_that_exists() -> None:
    """Whoever takes the comment marks away has an exception that can cover something."""
    lines = DEFAULT_RULES.read_text(encoding="utf-8").splitlines()
    start = lines.index("# [[exception]]")
    (sample,) = tomllib.loads(
        "\n".join(line.removeprefix("# ") for line in lines[start : start + 7])
    )["exception"]
    assert sample["rule"] in {rule.name for rule in rule_list()}
