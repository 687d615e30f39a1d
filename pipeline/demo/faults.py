"""The deliberate faults of the demo, as data: where, what is wrong, and what must come of it."""

from pipeline.demo.faults_east import EAST_FAULTS
from pipeline.demo.faults_mitte import MITTE_FAULTS
from pipeline.demo.faults_north import NORTH_FAULTS
from pipeline.demo.records import Fault

FAULTS: tuple[Fault, ...] = (*NORTH_FAULTS, *MITTE_FAULTS, *EAST_FAULTS)
FAULT_FREE = ("N101", "N102", "M201", "M202", "E301")
