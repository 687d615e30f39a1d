"""Write the demo exports anew: `python -m pipeline.demo [FOLDER]`, by default sample_exports.

What two of its stores export a fortnight later goes into a folder beside it, by default
sample_exports_next. The demo's own files are removed from both first. The same program writes the
same bytes.
"""

import shutil
import sys
from pathlib import Path

from pipeline.demo.demo import write_demo, write_next


def main() -> None:
    """Write the demo below the folder named on the command line."""
    folder = Path(sys.argv[1] if len(sys.argv) > 1 else "sample_exports")
    later = folder.with_name(f"{folder.name}_next")
    for own in ("north", "mitte", "east"):
        shutil.rmtree(folder / own, ignore_errors=True)
        shutil.rmtree(later / own, ignore_errors=True)
    write_demo(folder)
    write_next(later)


if __name__ == "__main__":
    main()
