"""Readers: strict JSON, fence systems and site measures. All faults of a document are reported at once."""

from fencing.reading.measure import read_measure
from fencing.reading.strict_json import digest, read_json, write_canonical
from fencing.reading.system import read_system

__all__ = ["digest", "read_json", "read_measure", "read_system", "write_canonical"]
