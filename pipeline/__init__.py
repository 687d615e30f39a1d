"""quietaisle: channel plans for the base stations behind a chain's shelf labels."""

import os

__version__ = "0.1.0"

# openpyxl writes other bytes where lxml happens to be installed; ours must not depend on that.
os.environ["OPENPYXL_LXML"] = "False"
# The estimator's matrices are small: threads of OpenBLAS cost more than they save, and how many of
# them there are could show in the last digits. It reads this as numpy is loaded.
os.environ["OPENBLAS_NUM_THREADS"] = "1"
