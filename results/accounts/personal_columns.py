"""Columns that contributors fill in: those that erasing blanks, and those that aren't personal.

Every column of text, of JSON and of bytes stands in one of the two lists;
`tests/results/test_erasing.py` fails for one that stands in neither.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from django.apps import apps
from django.db.models import Field, Model, Q, QuerySet

from rigs.metrology.gravity import STANDARD_GRAVITY
from rigs.models import Contributor

OF_SET = "pull_set__session__contributor"
OF_READINGS = "calibration__revision__rig__owner"
PATHS: dict[str, tuple[str, ...]] = {
    "rigs.Contributor": ("pk",),
    "rigs.Suspension": ("contributor",),
    "rigs.Rig": ("owner",),
    "rigs.RigRevision": ("rig__owner",),
    "results.RigScatter": ("rig__owner",),
    "results.SeriesShape": ("session__contributor",),
    "rigs.RevisionChange": ("revision__rig__owner",),
    "rigs.Calibration": ("revision__rig__owner",),
    "rigs.CalibrationChange": ("calibration__revision__rig__owner",),
    "rigs.CalibrationReading": (OF_READINGS,),
    "rigs.Line": ("proposed_by",),
    "results.Connection": ("proposed_by",),
    "results.ConnectionAlias": ("connection__proposed_by",),
    "results.TieParameter": ("connection__proposed_by",),
    "results.Session": ("contributor",),
    "results.Upload": ("contributor",),
    "results.WaitingUpload": ("contributor",),
    "results.Proposal": ("contributor",),
    "results.WaitingSession": ("contributor",),
    "results.Baseline": ("session__contributor",),
    "results.PullSet": ("session__contributor",),
    "results.Pull": ("pull_set__session__contributor", "baseline__session__contributor"),
    "results.Trace": (
        "pull__pull_set__session__contributor",
        "pull__baseline__session__contributor",
    ),
    "results.NormalisedSet": (OF_SET,),
    "results.PoolMembership": (OF_SET,),
    "results.Job": ("session__contributor",),
    "results.StateChange": (OF_SET,),
    "results.Screening": ("session__contributor",),
    "results.CheckResult": ("screening__session__contributor",),
    "results.ReviewCase": (OF_SET,),
    "results.Message": (OF_SET,),
    "results.Notice": ("to",),
    "results.Follow": ("contributor",),
    "results.Mailing": ("contributor",),
    "results.UnsentMail": ("contributor",),
    "results.Vote": ("contributor",),
    "results.Report": ("reporter",),
    "results.Round": ("organiser",),
    "results.RoundEvent": ("round__organiser",),
    "results.RoundLot": ("round__organiser",),
    "results.LotPull": ("lot__round__organiser",),
    "results.RoundSample": ("round__organiser",),
    "results.RoundParticipant": ("contributor",),
    "results.RoundSight": ("contributor",),
    "results.RoundSpecimen": ("participant__contributor",),
    "results.SealedSession": ("participant__contributor",),
    "results.RoundSet": (OF_SET,),
    "results.Erasure": ("account",),
    "auth.User": ("contributor",),
    "account.EmailAddress": ("user__contributor",),
    "knox.AuthToken": ("user__contributor",),
    "mfa.Authenticator": ("user__contributor",),
}
"""By model the ways from a row to the contributor it is of."""


ALL = Q()


@dataclass(frozen=True)
class Numbered:
    """In place of a name that has to differ from its neighbours': a word and the row's number."""

    word: str


@dataclass(frozen=True)
class Spools:
    """In place of the names of one's spools: '1' and so on, the same number for the same name."""


@dataclass(frozen=True)
class Personal:
    """A column that erasing blanks, what it then holds, and which of the rows are meant."""

    label: str
    blank: object = ""
    only: Q = ALL

    @property
    def model(self) -> type[Model]:
        return apps.get_model(self.label.rpartition(".")[0])

    @property
    def field(self) -> Field[Any, Any]:
        field = self.model._meta.get_field(self.column)
        assert isinstance(field, Field)
        return field

    @property
    def column(self) -> str:
        return self.label.rpartition(".")[2]


CLOSED = "The account was closed."
"""The reason of sets and sessions withdrawn by closing, which names no one and stays."""

PROPOSED = Q(accepted=False)
OF_PROPOSED = Q(connection__accepted=False)
ERASED = (
    Personal("rigs.Rig.name", Numbered("rig")),
    Personal("rigs.RigRevision.what_changed"),
    Personal("rigs.RigRevision.why"),
    Personal("rigs.RigRevision.load_path"),
    Personal("rigs.RigRevision.grip_cover"),
    Personal("rigs.RigRevision.place"),
    Personal("rigs.RigRevision.latitude_deg", None),
    Personal("rigs.RigRevision.height_m", None),
    Personal("rigs.RevisionChange.was", {}),
    Personal("rigs.RevisionChange.reason"),
    Personal("rigs.CalibrationChange.reason"),
    Personal("rigs.Calibration.note"),
    Personal("rigs.Calibration.local_gravity", STANDARD_GRAVITY),
    Personal("rigs.Line.name", Numbered("unnamed line"), PROPOSED),
    Personal("results.Connection.name", Numbered("unnamed join"), PROPOSED),
    Personal("results.Connection.description", "", PROPOSED),
    Personal("results.Connection.tools", "", PROPOSED),
    Personal("results.ConnectionAlias.name", Numbered("unnamed alias"), OF_PROPOSED),
    Personal("results.TieParameter.name", Numbered("parameter"), OF_PROPOSED),
    Personal("results.TieParameter.unit", "", OF_PROPOSED),
    Personal("results.Session.note"),
    Personal("results.Session.standing_reason", "", ~Q(standing_reason=CLOSED)),
    Personal("results.Upload.body", b""),
    Personal("results.Upload.idempotency_key", None),
    Personal("results.WaitingUpload.file_name"),
    Personal("results.WaitingUpload.body", b""),
    Personal("results.Proposal.name", Numbered("proposal")),
    Personal("results.Proposal.note"),
    Personal("results.WaitingSession.file_name"),
    Personal("results.WaitingSession.body", b""),
    Personal("results.WaitingSession.reason"),
    Personal("results.WaitingSession.problem"),
    Personal("results.Baseline.spool", Spools(), ~Q(spool="")),
    Personal("results.PullSet.label", Numbered("set")),
    Personal("results.PullSet.main_spool", Spools(), ~Q(main_spool="")),
    Personal("results.PullSet.leader_spool", Spools(), ~Q(leader_spool="")),
    Personal("results.PullSet.tyer", "somebody else", ~Q(tyer="")),
    Personal("results.PullSet.note"),
    Personal(
        "results.PullSet.not_normalised", "no efficiency could be given", ~Q(not_normalised="")
    ),
    Personal("results.Pull.place"),
    Personal("results.Pull.note"),
    Personal("results.Trace.started_at", None),
    Personal(
        "results.NormalisedSet.notes",
        [],
        ~Q(pull_set__main_spool="") | ~Q(pull_set__leader_spool=""),
    ),
    Personal("results.CheckResult.applies_to"),
    Personal("results.CheckResult.sentence"),
    Personal("results.Notice.text"),
    Personal("results.Report.text"),
    Personal("results.Round.title", Numbered("round")),
    Personal("results.RoundLot.spool", Numbered("spool")),
    Personal("results.RoundSample.specification"),
    Personal("results.SealedSession.body", b""),
    Personal("results.SealedSession.idempotency_key", None),
    Personal("results.SealedSession.problem"),
)
"""Blanked in this order. Closing an account erases its sign-in, mail addresses, tokens, handle and
the files that wait as well (`results.accounts.close`)."""

BY_OTHERS = (
    Personal("results.Message.text"),
    Personal("results.StateChange.reason"),
    Personal("rigs.Suspension.reason"),
    Personal("results.Report.outcome"),
    Personal("results.Proposal.answer"),
    Personal("rigs.Club.name", Numbered("club")),
    Personal("results.AcceptedName.text", Numbered("name")),
)
"""Words of moderators and administrators, or of the contributor and others in one column: one's own
are erased with the account, and an administrator can erase a single row of any. An accepted name
erased with the account if no other contributor uses it."""

_QUANTITY = "a quantity: only what reads as a number and a unit is taken"
_ACCOUNT = "erased with the account by `results.accounts.close`: the row goes, or can't sign in"
_FIGURES = "computed: figures, and rows by number"
_CHOSEN = "one of a few words that the service knows"
_KEY = "random, or a hash"
_DRAWN = "a drawing, which closing erases and a worker draws again"
_SERVICE = "a sentence of the service's own: names nothing but numbers of rows"

NOT_PERSONAL = {
    "results.UnsentMail.subject": _ACCOUNT,
    "results.UnsentMail.text": _ACCOUNT,
    "rigs.Contributor.handle": "erased by `accounts.close`, which signs by a number from then on",
    "rigs.Contributor.licence": _CHOSEN,
    "rigs.RigRevision.resolution_written": _QUANTITY,
    "rigs.RigRevision.capacity_written": _QUANTITY,
    "rigs.RigRevision.free_length_written": _QUANTITY,
    "rigs.CalibrationReading.mass_written": _QUANTITY,
    "rigs.CalibrationReading.tolerance_written": _QUANTITY,
    "rigs.CalibrationReading.reading_written": _QUANTITY,
    "rigs.Line.label_strength_written": _QUANTITY,
    "rigs.Line.diameter_written": _QUANTITY,
    "results.Pull.reading_written": _QUANTITY,
    "results.Pull.unit": _CHOSEN,
    "results.Trace.unit": _CHOSEN,
    "results.Trace.samples": "forces and seconds of a load cell",
    "results.Trace.slips": _FIGURES,
    "results.Trace.hold": _FIGURES,
    "results.Session.unit": _CHOSEN,
    "results.Upload.content_type": _CHOSEN,
    "results.WaitingUpload.content_type": _CHOSEN,
    "results.WaitingSession.content_type": _CHOSEN,
    "results.TieParameter.choices": "chosen by a moderator with the join that they accept",
    "results.PullSet.parameters": "values of parameters, within what the catalogue allows",
    "results.PullSet.terminal": "what was tied to: part of the key of its pool, shared with others",
    "results.Pool.terminal": "part of the key of a pool, shared by all who tied to it",
    "results.DirectComparison.terminal": "part of the key of a pool, shared by all who tied to it",
    "results.Session.fingerprint": _KEY,
    "results.Upload.sha256": "the sum of the bytes: kept, to prove what was sent",
    "results.Edition.mark": _KEY,
    "results.PoolVersion.why": _SERVICE,
    "results.StalePool.why": _SERVICE,
    "results.PoolVersion.no_figure": _SERVICE,
    "results.PoolVersion.figures": _FIGURES,
    "results.PoolVersion.findings": _FIGURES,
    "results.PoolVersion.inputs": _FIGURES,
    "results.PoolVersion.snapshot": _KEY,
    "results.PoolVersion.forest_light": _DRAWN,
    "results.PoolVersion.forest_dark": _DRAWN,
    "results.DirectComparison.versions": _FIGURES,
    "results.DirectComparison.why_not": _SERVICE,
    "results.DirectComparison.figures": _FIGURES,
    "results.NormalisedSet.failure_modes": _FIGURES,
    "results.NormalisedSet.interval_open": _SERVICE,
    "results.NormalisedSet.join_itself": _FIGURES,
    "results.NormalisedSet.pull_places": _FIGURES,
    "results.NormalisedSet.straight_places": _FIGURES,
    "results.CheckResult.name": _CHOSEN,
    "results.CheckResult.meant_unit": _CHOSEN,
    "results.CheckResult.source": "the literature that a check is from",
    "results.Job.problem": _SERVICE,
    "results.Release.problem": _SERVICE,
    "results.Release.snapshot": _KEY,
    "results.Release.pool_versions": _FIGURES,
    "results.Release.rows": _FIGURES,
    "results.Release.files": _FIGURES,
    "results.Release.sha256": _KEY,
    "results.TraceMonth.taken_out": _FIGURES,
    "results.TraceMonth.sha256": _KEY,
    "results.TraceMonthPart.body": "open data: forces and seconds of load cells, by number",
    "results.ReleasePart.body": "open data: numbers and accepted names, never taken back",
    "results.AuditLink.subject": "the name of a table",
    "results.AuditLink.salt": "drawn at random; goes when the words of its row are erased",
    "results.AuditLink.digest": _KEY,
    "results.AuditLink.previous": _KEY,
    "results.AuditLink.hash": _KEY,
    "results.Erasure.reason": "an administrator's reason, which names no one",
    "results.Erasure.columns": "columns and numbers of rows",
    "results.Report.reporter_key": "a number, or a keyed hash that goes once the report is closed",
    "results.Round.entry_code": _KEY,
    "results.LotPull.reading_written": _QUANTITY,
    "results.LotPull.unit": _CHOSEN,
    "results.RoundSample.terminal": "what was tied to: part of the key of its pool",
    "results.RoundSample.parameters": "values of parameters, within what the catalogue allows",
    "results.SealedSession.content_type": _CHOSEN,
    "results.SealedSession.sha256": "the sum of the bytes: kept, to prove what was sent",
    "results.RoundSpecimen.code": _KEY,
    "results.RoundReport.problem": _SERVICE,
    "results.RoundReport.sets": _FIGURES,
    "results.RoundReport.report": _FIGURES,
    "results.RoundReport.changes": _FIGURES,
    "rigs.Suspension.held": "numbers of rows",
    "rigs.Suspension.lifted_reason": "a moderator's words on why it ended",
    "auth.User.username": _ACCOUNT,
    "auth.User.password": _ACCOUNT,
    "auth.User.first_name": _ACCOUNT,
    "auth.User.last_name": _ACCOUNT,
    "auth.User.email": _ACCOUNT,
    "account.EmailAddress.email": _ACCOUNT,
    "account.EmailConfirmation.key": _ACCOUNT,
    "knox.AuthToken.digest": _ACCOUNT,
    "knox.AuthToken.token_key": _ACCOUNT,
    "mfa.Authenticator.data": _ACCOUNT,
    "sessions.Session.session_key": _KEY,
    "sessions.Session.session_data": "closing ends the sessions of the account",
    "admin.LogEntry.object_id": "the number of a row",
    "admin.LogEntry.object_repr": "closing blanks what names the account",
    "admin.LogEntry.change_message": "names of fields that an administrator changed",
    "auth.Group.name": "made by the service",
    "auth.Permission.name": "made by the service",
    "auth.Permission.codename": "made by the service",
    "contenttypes.ContentType.app_label": "made by the service",
    "contenttypes.ContentType.model": "made by the service",
}


def rows_of(contributor: Contributor, model: str) -> Iterator[QuerySet[Model]]:
    """The rows of a contributor, a query for each way that leads to them."""
    for path in PATHS[model]:
        yield apps.get_model(model)._base_manager.filter(**{path: contributor.pk})
