"""Write the demo exports anew: `python -m pipeline.demo [FOLDER]`, by default sample_exports.

Beside a FOLDER that is named, FOLDER_next takes what two of its stores export a fortnight later.
The demo's own files are removed from both first. The same program writes the same bytes.
"""

import shutil
import sys
from pathlib import Path

from pipeline.demo.demo import write_demo, write_next


def main() -> None:
    """Write the demo below the folder named on the command line."""
    folder = Path(sys.argv[1] if len(sys.argv) > 1 else "sample_exports")
    _clear(folder)
    write_demo(folder)
    if len(sys.argv) > 1:
        later = folder.with_name(f"{folder.name}_next")
        _clear(later)
        write_next(later)


def _clear(folder: Path) -> None:
    for own in ("north", "mitte", "east"):
        shutil.rmtree(folder / own, ignore_errors=True)


if __name__ == "__main__":
    main()
