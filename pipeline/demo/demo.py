"""The demo as a whole: the twelve stores with every deliberate fault, their README and rules."""

from pathlib import Path

from pipeline.demo.chain import FIRMWARE
from pipeline.demo.describe import readme, rules_file
from pipeline.demo.faults import FAULTS
from pipeline.demo.generate import generate
from pipeline.demo.write import write_exports

# Git must not touch the line ends: they are part of what the exports show.
_GIT_ATTRIBUTES = "* -text\n"


def write_demo(folder: Path) -> None:
    """Write the demo's exports, README and rules file below `folder`."""
    portfolio = generate(faults=FAULTS)
    write_exports(portfolio, folder, FAULTS)
    for name, text in (
        ("README.md", readme(portfolio, FAULTS)),
        ("rules.toml", rules_file(FIRMWARE)),
        (".gitattributes", _GIT_ATTRIBUTES),
    ):
        (folder / name).write_bytes(text.encode())
