"""Write the demo exports anew: `python -m pipeline.demo [FOLDER]`, by default sample_exports.

The demo's own files are removed from the folder first. The same program writes the same bytes.
"""

import shutil
import sys
from pathlib import Path

from pipeline.demo.demo import write_demo


def main() -> None:
    """Write the demo below the folder named on the command line."""
    folder = Path(sys.argv[1] if len(sys.argv) > 1 else "sample_exports")
    for own in ("north", "mitte", "east"):
        shutil.rmtree(folder / own, ignore_errors=True)
    write_demo(folder)


if __name__ == "__main__":
    main()
