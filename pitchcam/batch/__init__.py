"""Many photos: measured over all cores or on a cluster, stopped and resumed at will."""

from __future__ import annotations

from pitchcam.batch.answer import Answer, make_answer, summary, write_tables
from pitchcam.batch.pool import LocalWorkers, Workers
from pitchcam.batch.runner import Batch, Runner
from pitchcam.batch.settings import Job, Settings
from pitchcam.batch.source import Listed, list_photos, read_list
from pitchcam.batch.worker import Measure, identify_photo

__all__ = [
    "Answer",
    "Batch",
    "Job",
    "Listed",
    "LocalWorkers",
    "Measure",
    "Runner",
    "Settings",
    "Workers",
    "identify_photo",
    "list_photos",
    "make_answer",
    "read_list",
    "summary",
    "write_tables",
]
