"""Write the reference pages: `python -m pipeline.tables docs`."""

import sys
from pathlib import Path

from pipeline.tables.reference import exports_page, tables_page

folder = Path(sys.argv[1])
(folder / "tables.md").write_text(tables_page(), encoding="utf-8")
(folder / "exports.md").write_text(exports_page(), encoding="utf-8")
