"""The checker of proofs in docs/, loaded as a reader would run it: it is no part of the package."""

import importlib.util
from pathlib import Path
from typing import Any

PATH = Path(__file__).resolve().parents[1] / "docs" / "check_proof.py"
_spec = importlib.util.spec_from_file_location("check_proof", PATH)
assert _spec is not None
assert _spec.loader is not None
checker: Any = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(checker)
