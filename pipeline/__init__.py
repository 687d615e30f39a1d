"""quietaisle: channel plans for the base stations behind a chain's shelf labels."""

import os

__version__ = "0.1.0"

# openpyxl writes other bytes where lxml happens to be installed; ours must not depend on that.
os.environ["OPENPYXL_LXML"] = "False"
