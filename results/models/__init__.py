"""Tables of measurements and of what is computed from them."""

from results.models.audit_links import AuditLink
from results.models.connections import Connection, ConnectionAlias, TieParameter
from results.models.editions import Edition
from results.models.efficiencies import NormalisedSet, PairReference
from results.models.erasures import Erasure
from results.models.following import Follow, Mailing, UnsentMail
from results.models.jobs import Job
from results.models.names import AcceptedName
from results.models.pools import (
    LINE_PAIR,
    DirectComparison,
    Pool,
    PoolMembership,
    PoolVersion,
)
from results.models.proposals import Proposal, WaitingSession
from results.models.reports import Report
from results.models.rig_scatter import RigScatter
from results.models.round_events import RoundEvent
from results.models.round_results import RoundReport, RoundSet
from results.models.rounds import (
    LotPull,
    Round,
    RoundLot,
    RoundParticipant,
    RoundSample,
    RoundSight,
    RoundSpecimen,
    SealedSession,
)
from results.models.screening import CheckResult, Message, Notice, ReviewCase, Screening
from results.models.series_shapes import SeriesShape
from results.models.sessions import Baseline, Pull, PullSet, Session, Upload
from results.models.snapshots import Release, ReleasePart
from results.models.stale_pools import StalePool
from results.models.states import StateChange
from results.models.trace_archive import ArchivedTrace, TraceMonth, TraceMonthPart
from results.models.traces import Trace
from results.models.votes import Vote
from results.models.waiting import WaitingUpload

__all__ = [
    "LINE_PAIR",
    "AcceptedName",
    "ArchivedTrace",
    "AuditLink",
    "Baseline",
    "CheckResult",
    "Connection",
    "ConnectionAlias",
    "DirectComparison",
    "Edition",
    "Erasure",
    "Follow",
    "Job",
    "LotPull",
    "Mailing",
    "Message",
    "NormalisedSet",
    "Notice",
    "PairReference",
    "Pool",
    "PoolMembership",
    "PoolVersion",
    "Proposal",
    "Pull",
    "PullSet",
    "Release",
    "ReleasePart",
    "Report",
    "ReviewCase",
    "RigScatter",
    "Round",
    "RoundEvent",
    "RoundLot",
    "RoundParticipant",
    "RoundReport",
    "RoundSample",
    "RoundSet",
    "RoundSight",
    "RoundSpecimen",
    "Screening",
    "SealedSession",
    "SeriesShape",
    "Session",
    "StalePool",
    "StateChange",
    "TieParameter",
    "Trace",
    "TraceMonth",
    "TraceMonthPart",
    "UnsentMail",
    "Upload",
    "Vote",
    "WaitingSession",
    "WaitingUpload",
]
