"""Readers: strict JSON, fence systems and site measures. All faults of a document are reported at once."""

from fencing.reading.canonical_json import digest, write_canonical
from fencing.reading.json_reader import read_json
from fencing.reading.measure import read_measure
from fencing.reading.system import read_system

__all__ = ["digest", "read_json", "read_measure", "read_system", "write_canonical"]
