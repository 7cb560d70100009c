"""The record: photos, measurements, verdicts and hand-made corrections in one SQLite file."""

from __future__ import annotations

from pitchcam.store.entries import Correction, Entry, Outcome, record_id
from pitchcam.store.rows import ThreadRow, entry_rows
from pitchcam.store.store import Store

__all__ = ["Correction", "Entry", "Outcome", "Store", "ThreadRow", "entry_rows", "record_id"]
