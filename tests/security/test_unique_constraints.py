"""Whoever meets a unique constraint at the same instant as another gets that answer, never 500.

Every unique constraint of every table stands here: with a request that meets it, or with the
reason why no person can. For each request a rival stores the same in a transaction that is still
open, so that the request finds nothing in its way, waits at the constraint, and meets it once the
rival commits.
"""

import base64
import json
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from typing import Any

import pytest
from allauth.account.models import EmailAddress, EmailConfirmationHMAC
from allauth.mfa.models import Authenticator
from django.contrib.auth.models import Group, User
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection, connections, transaction
from django.test import Client

from results import intake
from results.models import (
    Connection,
    ConnectionAlias,
    Report,
    Session,
    WaitingUpload,
)
from rigs.models import (
    CalibrationChange,
    Club,
    Contributor,
    Line,
    RevisionChange,
    Rig,
    RigRevision,
    Suspension,
)
from tests import making
from tests.api.documents import REVISION
from tests.api.test_routes import CHANGE
from tests.pages.reading import Page
from tests.pages.test_accounts import code_now
from tests.pages.test_rig_pages import browser
from tests.people import client_of, contributor
from tests.results.test_closing_at_once import document
from tests.security.meeting import OUT_OF_REACH, constraints, wait_for_meeting

JOINING = {
    "handle": "newcomer",
    "username": "newcomer",
    "email": "",
    "password1": "cork tape and a long line",
    "password2": "cork tape and a long line",
    "agreed": "on",
}


@dataclass
class World:
    """One tester with a rig, lines and a join, and what a case has prepared."""

    owner: Contributor
    moderator: Contributor
    revision: RigRevision
    extra: dict[str, Any] = field(default_factory=dict)

    @property
    def at_home(self) -> Client:
        return self.extra["browser"]

    def post(self, address: str, document: Any) -> Any:
        """By the API, with a token of the owner's."""
        return self.extra["client"].post(f"/api/v1/{address}", document, format="json")

    def send(self, address: str, body: bytes, **headers: str) -> Any:
        headers = {"HTTP_" + name.upper(): value for name, value in headers.items()}
        return self.extra["client"].generic(
            "POST", f"/api/v1/{address}", body, "application/json", **headers
        )


@pytest.fixture
def world(transactional_db) -> World:
    owner, moderator = contributor("owner"), contributor("moderator")
    moderator.user.groups.add(Group.objects.get_or_create(name="moderators")[0])
    moderator.user.is_staff = moderator.user.is_superuser = True
    moderator.user.save()
    revision = making.revision_of(owner)
    making.line("thin")
    making.line("thick", label_N=180)
    making.connection("Blood")
    answer = {
        "browser": browser(owner),
        "desk": browser(moderator),
        "client": client_of(owner),
        "stranger": Client(),
        "calibration": making.calibrate(revision, gain=1.0, offset_N=0.0),
        "session": intake.receive(owner, document("shed winch", 10), intake.JSON, None).session,
    }
    return World(owner, moderator, revision, answer)


@dataclass(frozen=True)
class Meeting:
    """What the rival stores, what a person sends meanwhile, and the statuses that tell them so.

    ``prepare`` is done before both. ``says`` is in the answer.
    """

    rival: Callable[[World], Any]
    sent: Callable[[World], Any]
    statuses: tuple[int, ...]
    says: str = ""
    prepare: Callable[[World], Any] = lambda _world: None


def address(world: World, user: User | None = None, email: str = "a@example.org") -> EmailAddress:
    return EmailAddress.objects.create(user=user or world.owner.user, email=email)


def prepare_join(world: World) -> None:
    user = User.objects.create_user("late")
    world.extra["user"] = user
    late = Client()
    late.force_login(user)
    world.extra["late"] = late


def prepare_confirming(world: World) -> None:
    mine, theirs = address(world), address(world, world.moderator.user)
    world.extra |= {"theirs": theirs, "key": EmailConfirmationHMAC(mine).key}


def prepare_primaries(world: World) -> None:
    for email in ("a@example.org", "b@example.org"):
        mail = address(world, email=email)
        EmailAddress.objects.filter(pk=mail.pk).update(verified=True)


def prepare_factor(world: World) -> None:
    password = JOINING["password1"]
    world.owner.user.set_password(password)
    world.owner.user.save()
    at_home, set_up = Client(), "/account/second-factor/set-up/"
    at_home.post("/sign-in/", {"login": "owner", "password": password})
    at_home.post(f"/account/again/?next={set_up}", {"password": password})
    (shown,) = Page(at_home.get(set_up)).all("input", id="authenticator_secret")
    world.extra |= {"browser": at_home, "code": code_now(shown["value"])}


def first_factor(world: World) -> Authenticator:
    secret = base64.b32encode(b"12345678901234567890").decode()
    return Authenticator.objects.create(
        user=world.owner.user, type=Authenticator.Type.TOTP, data={"secret": secret}
    )


def sheet() -> SimpleUploadedFile:
    return SimpleUploadedFile("day.json", document("shed winch", 14), "application/json")


def twin(world: World, day: int, key: str | None) -> Session:
    return intake.receive(world.owner, document("shed winch", day), intake.JSON, key).session


def replaced(world: World) -> Session:
    session = world.extra["session"]
    return Session.objects.create(
        contributor=world.owner,
        revision=world.revision,
        pulled_on=session.pulled_on,
        state="dry",
        unit="N",
        fingerprint="another",
        replaces=session,
        version=2,
    )


MET: dict[str, Meeting] = {
    "auth.User.username": Meeting(
        lambda _w: User.objects.create_user("newcomer"),
        lambda w: w.extra["stranger"].post("/sign-up/", JOINING),
        (200,),
        "Someone else has just taken this name",
    ),
    "rigs.Contributor.contributor_handle_is_unique": Meeting(
        lambda _w: Contributor.objects.create(
            user=User.objects.create_user("another"), handle="Newcomer"
        ),
        lambda w: w.extra["stranger"].post("/sign-up/", JOINING),
        (200,),
        "Another contributor has this handle",
    ),
    "rigs.Contributor.user": Meeting(
        lambda w: Contributor.objects.create(user=w.extra["user"], handle="first"),
        lambda w: w.extra["late"].post("/account/join/", {"handle": "second", "agreed": "on"}),
        (409, 422),
        prepare=prepare_join,
    ),
    "auth.Group.name": Meeting(
        lambda _w: Group.objects.create(name="helpers"),
        lambda w: w.extra["desk"].post("/admin/auth/group/add/", {"name": "helpers"}),
        (409,),
    ),
    "account.EmailAddress.user+email": Meeting(
        address,
        lambda w: w.at_home.post("/account/mail/", {"email": "a@example.org", "action_add": ""}),
        (302, 409),
    ),
    "account.EmailAddress.unique_verified_email": Meeting(
        lambda w: EmailAddress.objects.filter(pk=w.extra["theirs"].pk).update(verified=True),
        lambda w: w.extra["stranger"].post(f"/account/mail/confirm/{w.extra['key']}/"),
        (302, 409),
        prepare=prepare_confirming,
    ),
    "account.EmailAddress.unique_primary_email": Meeting(
        lambda _w: EmailAddress.objects.filter(email="b@example.org").update(primary=True),
        lambda w: w.at_home.post(
            "/account/mail/", {"email": "a@example.org", "action_primary": ""}
        ),
        (409,),
        prepare=prepare_primaries,
    ),
    "mfa.Authenticator.unique_authenticator_type": Meeting(
        first_factor,
        lambda w: w.at_home.post("/account/second-factor/set-up/", {"code": w.extra["code"]}),
        (409,),
        prepare=prepare_factor,
    ),
    "rigs.Club.name": Meeting(
        lambda _w: Club.objects.create(name="Lannet Anglers"),
        lambda w: w.extra["desk"].post("/admin/rigs/club/add/", {"name": "Lannet Anglers"}),
        (409,),
    ),
    "rigs.Suspension.contributor_is_suspended_once": Meeting(
        lambda w: Suspension.objects.create(contributor=w.owner, by=w.moderator.user, reason="x"),
        lambda w: w.extra["desk"].post(
            "/admin/rigs/suspension/add/", {"handle": "owner", "reason": "y"}
        ),
        (409,),
    ),
    "rigs.Rig.rig_name_is_unique_to_its_owner": Meeting(
        lambda w: Rig.objects.create(owner=w.owner, name="Winch"),
        lambda w: w.post("rigs", {"name": "winch", "revision": REVISION}),
        (409,),
        "already a rig of this name",
    ),
    "rigs.RigRevision.revision_number_is_unique": Meeting(
        lambda w: RigRevision.objects.create(
            **{
                column.attname: getattr(w.revision, column.attname)
                for column in RigRevision._meta.concrete_fields
                if column.name not in ("id", "number")
            },
            number=2,
        ),
        lambda w: w.post(f"rigs/{w.revision.rig_id}/revisions", CHANGE),
        (409,),
    ),
    "rigs.RevisionChange.version_of_revision_ends_once": Meeting(
        lambda w: RevisionChange.objects.create(
            revision=w.revision, version=1, resolution_N=0.5, by=w.owner.user, reason="x"
        ),
        lambda w: w.post(
            f"revisions/{w.revision.pk}/versions", {"grip_cover": "tape", "reason": "a slip"}
        ),
        (409,),
    ),
    "rigs.CalibrationChange.calibration": Meeting(
        lambda w: CalibrationChange.objects.create(
            calibration=w.extra["calibration"], by=w.owner.user, reason="x"
        ),
        lambda w: w.post(f"calibrations/{w.extra['calibration'].pk}/voiding", {"reason": "a slip"}),
        (409,),
    ),
    "rigs.Line.line_name_is_unique": Meeting(
        lambda _w: Line.objects.create(name="New line", material="other"),
        lambda w: w.post("lines", {"name": "new line", "material": "other"}),
        (409,),
        "already a line of this name",
    ),
    "results.Connection.connection_name_is_unique": Meeting(
        lambda _w: Connection.objects.create(name="New join", kind="crimp"),
        lambda w: w.post("connections", {"name": "new join", "kind": "crimp"}),
        (409,),
    ),
    "results.ConnectionAlias.connection_alias_is_unique": Meeting(
        lambda _w: ConnectionAlias.objects.create(
            connection=Connection.objects.get(name="Blood"), name="Barrel"
        ),
        lambda w: w.post(
            "connections", {"name": "new join", "kind": "crimp", "aliases": ["barrel"]}
        ),
        (409,),
    ),
    "results.Session.replaces": Meeting(
        replaced,
        lambda w: w.send(
            f"sessions/{w.extra['session'].pk}/versions?reason=a%20digit",
            document("shed winch", 13),
        ),
        (409,),
    ),
    "results.Session.session_is_stored_once": Meeting(
        lambda w: twin(w, 12, None),
        lambda w: w.send("sessions", document("shed winch", 12)),
        (409,),
        "already stored as session",
    ),
    "results.Upload.upload_key_is_used_once": Meeting(
        lambda w: twin(w, 12, "one key"),
        lambda w: w.send("sessions", document("shed winch", 13), idempotency_key="one key"),
        (409, 422),
        "used for another upload",
    ),
    "results.WaitingUpload.contributor": Meeting(
        lambda w: WaitingUpload.objects.create(contributor=w.owner, body=b"x"),
        lambda w: w.at_home.post("/upload/", {"file": sheet()}),
        (200,),
        "day.json",
    ),
    "results.Report.report_is_open_once": Meeting(
        lambda w: Report.objects.create(
            subject_kind="rig",
            subject_id=w.revision.rig_id,
            reporter=w.owner,
            reporter_key=f"contributor:{w.owner.pk}",
            text="x",
        ),
        lambda w: w.post(
            "reports", {"subject_kind": "rig", "subject_id": w.revision.rig_id, "text": "y"}
        ),
        (409,),
        "reported this already",
    ),
}


def test_every_unique_constraint_is_met_here_or_is_out_of_reach_for_a_reason():
    assert set(MET) & set(OUT_OF_REACH) == set()
    assert constraints() - set(MET) - set(OUT_OF_REACH) == set()
    assert set(MET) | set(OUT_OF_REACH) == constraints()
    assert all(OUT_OF_REACH.values())


@pytest.mark.parametrize("constraint", sorted(MET))
def test_who_comes_second_gets_that_answer_and_meets_no_failure(world, constraint):
    meeting = MET[constraint]
    meeting.prepare(world)

    def send() -> Any:
        try:
            return meeting.sent(world)
        finally:
            connections.close_all()

    with ThreadPoolExecutor(1) as threads:
        with transaction.atomic():
            meeting.rival(world)
            answer = threads.submit(send)
            wait_for_meeting(answer)
        found = answer.result()
    said = found.content.decode()
    # SQLite has one writer at a time: a request may begin only after the rival, and find the row.
    one_by_one = connection.vendor == "sqlite" and found.status_code in (200, 201)
    assert found.status_code in meeting.statuses or one_by_one, said[:2000]
    assert meeting.says in said or one_by_one
    if found["Content-Type"].startswith("application/problem+json"):
        assert json.loads(found.content)["status"] == found.status_code
