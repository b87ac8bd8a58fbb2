"""Documents into values: strict JSON, fence systems and site measures, every fault told at once."""

from fencing.reading.canonical import canonical, digest
from fencing.reading.fitting import fit
from fencing.reading.measures import read_measure
from fencing.reading.systems import read_system
from fencing.reading.text import read_json

__all__ = ["canonical", "digest", "fit", "read_json", "read_measure", "read_system"]
