"""Intake: from the bytes of an upload to a stored session and a job."""

from results.intake.previewing import Preview, dry_run
from results.intake.reading import CSV, FORMS, JSON, XLSX
from results.intake.receiving import Receipt, receive

__all__ = ["CSV", "FORMS", "JSON", "XLSX", "Preview", "Receipt", "dry_run", "receive"]
