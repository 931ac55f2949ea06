"""Intake: from the bytes of an upload to a stored session and a job."""

from results.intake.findings import LacksEntries
from results.intake.layout import IsRecording
from results.intake.marking import MarkedSheet, marked
from results.intake.previewing import Preview, dry_run
from results.intake.proposing import propose_and_wait
from results.intake.reading import CSV, FORMS, JSON, XLSX, GoesByCodes
from results.intake.receiving import Receipt, receive, stored_already
from results.intake.waiting import let_wait, store_waiting

__all__ = [
    "CSV",
    "FORMS",
    "JSON",
    "XLSX",
    "GoesByCodes",
    "IsRecording",
    "LacksEntries",
    "MarkedSheet",
    "Preview",
    "Receipt",
    "dry_run",
    "let_wait",
    "marked",
    "propose_and_wait",
    "receive",
    "store_waiting",
    "stored_already",
]
