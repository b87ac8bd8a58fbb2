"""Readers: strict JSON, fence systems and site measures. All faults of a document are reported at once."""

from fencing.reading.canonical_json import canonical, digest
from fencing.reading.json_reader import read_json
from fencing.reading.measure import read_measure
from fencing.reading.system import read_system

__all__ = ["canonical", "digest", "read_json", "read_measure", "read_system"]
