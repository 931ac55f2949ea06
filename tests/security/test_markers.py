"""What is not public is at no public address: a marker in each such field of every row is looked
for everywhere, by a stranger and by an account that has nothing to do with it.

Tables, fields and addresses are found by asking Django, so that a new one is looked at as well.
"""

import logging
from datetime import date

import numpy as np
import pytest
from allauth.account.models import EmailAddress
from django.contrib.auth.models import User
from django.db import transaction
from django.test import Client
from django.urls import reverse

from results.accounts.close import close_account
from results.intake import amend
from results.jobs.queue import enqueue
from results.models import (
    Connection,
    Job,
    Proposal,
    PullSet,
    Release,
    Report,
    ReviewCase,
    Session,
    WaitingUpload,
)
from results.open_data import kept, releases
from results.review.decisions import ask, decide
from results.worker import embedded
from rigs.models import Calibration, CalibrationReading, Contributor, Line, RigRevision
from tests import making
from tests.every_address import administrations, numbers, readable
from tests.people import contributor
from tests.security.planting import ACCOUNTS, Planted, addresses, bare, content_of, planted_models

pytestmark = pytest.mark.usefixtures("planted_past")

MAIL = "samespool@example.org"


def scattered(rng, load_N: float) -> list[float]:
    return [round(load, 2) for load in load_N * np.exp(rng.normal(0, 0.03, 6))]


def pulled(revision, *, day: int, tie: str = "Blood", leader="thick") -> object:
    """A session with straight line and one set, spools named."""
    session = making.session(revision, pulled_on=date(2026, 1, day))
    thin, thick = making.line("thin"), making.line(leader, label_N=180)
    rng = np.random.default_rng((day, revision.pk))
    making.straight(session, thin, scattered(rng, 100.0), spool="blue reel")
    pull_set = making.joined(session, thin, thick, scattered(rng, 80.0), tie=tie)
    pull_set.main_spool = pull_set.leader_spool = "blue reel"
    pull_set.save()
    enqueue(session)
    return pull_set


def person(handle: str) -> tuple[Contributor, RigRevision]:
    somebody = contributor(handle)
    revision = making.revision_of(somebody, name=f"winch of {handle}")
    calibration = making.calibrate(revision, gain=1.0, offset_N=0.0)
    for number, mass in enumerate((5, 10, 20)):
        CalibrationReading.objects.create(
            calibration=calibration, number=number, mass_kg=mass, mass_written=f"{mass} kg",
            how_known="certified", force_N=9.81 * mass, reading_N=9.81 * mass,
            reading_written=f"{9.81 * mass} N",
        )  # fmt: skip
    return somebody, revision


@pytest.fixture
def world(db, moderator, settings) -> Contributor:
    """Sets in every state, and accounts open, closed and closed without leaving anything."""
    settings.SAMESPOOL_REQUESTS_A_MINUTE = 10**9
    owner, revision = person("keeper of the winch")
    for name in ("Blood", "Albright"):
        making.connection(name)
    in_state = {state: pulled(revision, day=day) for day, state in enumerate(STATES, 1)}
    to_hook = pulled(revision, day=10, tie="Albright")
    type(to_hook).objects.filter(pk=to_hook.pk).update(leader_line=None, terminal="door handle")
    Connection.objects.create(name="proposed", kind="line to line", proposed_by=owner)
    Line.objects.create(name="new line", material="nylon monofilament", proposed_by=owner)
    pulled(revision, day=11, tie="proposed", leader="new line")
    others = [person(handle) for handle in ("kept", "gone", "third")]
    for _, theirs in others:
        pulled(theirs, day=12)
    making.joined(making.session(revision), making.line("thin"), making.line("thick"), [70.0, 74.0])
    making.traced(in_state["current"].pulls.first())
    embedded.drain()
    ask(by=moderator.user, pull_set=in_state["current"], text="Which scale?")
    for pull_set in PullSet.objects.filter(state="held"):
        decide(by=moderator.user, pull_set=pull_set, decision="release", reason="it may be")
    embedded.drain()
    for decision, state in (("hold", "held"), ("reject", "rejected")):
        in_state[state].refresh_from_db()
        decide(by=moderator.user, pull_set=in_state[state], decision=decision, reason="because")
    amend.withdraw(in_state["withdrawn"].session, owner, "the scale stuck")
    with transaction.atomic():
        replaced = in_state["replaced"].session
        amend.retire(replaced, owner, Session.Standing.REPLACED, "pounds")
    close_account(others[0][0], keep=True)
    close_account(others[1][0], keep=False)
    embedded.drain()
    for model in planted_models():
        if not model._base_manager.exists():
            bare(model)
    WaitingUpload.objects.update(contributor=owner)
    return owner


STATES = ("current", "held", "rejected", "withdrawn", "replaced")


@pytest.fixture
def planted(world) -> Planted:
    markers = Planted()
    markers.plant()
    return markers


def stand_ins() -> dict[str, list[str]]:
    """What to put for the parts of an address that vary: numbers of all rows there are."""
    highest = max(
        row.pk
        for model in (Session, Line, Connection, RigRevision, Calibration, Contributor)
        for row in model.objects.all()
    )
    files = [file["name"] for release in Release.objects.all() for file in release.files]
    return {
        "pk": [
            *map(str, range(1, highest + 3)),
            *map(str, Job.objects.values_list("pk", flat=True)),
        ],
        "number": ["1", "2"],
        "handle": [*Contributor.objects.values_list("handle", flat=True)],
        "name": [*files, kept.ARCHIVE],
        "kind": ["invalid", *Report.Subject.values],
        "subject": [*Report.Subject.values],
        "key": ["0f7b5a0e-54d8-4f3c-9a53-2f3c9d3f3a11", "a-b"],
        "uidb36": ["1"],
        "digest": ["0"],
    }


def asked(client, address: str) -> str:
    with transaction.atomic():
        answer = client.get(address)
        assert answer.status_code < 429, address
        content = content_of(answer)
        transaction.set_rollback(True)
    return content


QUERIES = (
    "/?connection=Blood",
    "/search/?q=winch",
    "/search/?q=zq",
    "/bench-sheet/?rig=1",
    "/compare/?main=nylon+monofilament&leader=nylon+monofilament",
    "/compare/joins.svg?main=nylon+monofilament&leader=nylon+monofilament",
    "/api/v1/pools/ranking?main=nylon+monofilament&leader=nylon+monofilament",
    "/api/v1/sessions?standing=replaced",
    "/api/v1/sessions?standing=withdrawn",
    "/api/v1/sessions?limit=200",
    "/api/v1/pools?terminal=door%20handle",
)


def everything_read_by(client) -> dict[str, str]:
    """What each address says to somebody, but those that say there is nothing."""
    asked_for = dict.fromkeys([*addresses(stand_ins()), *QUERIES])
    return {address: asked(client, address) for address in asked_for}


def signed_in(somebody: Contributor) -> Client:
    client = Client()
    client.force_login(somebody.user, backend="django.contrib.auth.backends.ModelBackend")
    return client


def leaks(planted: Planted, read: dict[str, str]) -> dict[str, set[str]]:
    return {address: found for address, text in read.items() if (found := planted.found_in(text))}


def test_no_marker_is_at_a_public_address_in_an_archive_a_chart_or_a_log(
    django_db_reset_sequences, planted, caplog
):
    """An archive is read at one instant, in a transaction of its own; ids begin at one."""
    caplog.set_level(logging.DEBUG)
    releases.request_release()
    embedded.make_releases()
    assert Release.objects.filter(state="made").exists()
    unrelated = contributor("passer-by")
    for client in (Client(), signed_in(unrelated)):
        read = everything_read_by(client)
        assert len(read) > 500
        assert leaks(planted, read) == {}
    assert planted.found_in(caplog.text) == set()


ACCOUNT_FORMS = tuple(
    f"/admin/{table}/"
    for table in ("auth/user", "rigs/contributor", "account/emailaddress", "mfa/authenticator")
)
"""Where administrators read by which name somebody signs in."""


def signs_in(planted: Planted, somebody: User | None = None) -> dict[str, str]:
    """By marker: sign-in names and addresses of mail of everybody but one."""
    mails = EmailAddress.objects.filter(user=somebody) if somebody else ()
    own = {f"{row._meta.label} {row.pk}" for row in (somebody, *mails) if row}
    return {
        marker: where
        for marker, where in planted.where.items()
        if where.split()[0] in ACCOUNTS and where.rpartition(" ")[0] not in own
    }


def test_no_one_reads_by_what_name_another_signs_in(planted, moderator):
    """A moderator on every page and on the desk, an administrator on all but the account forms."""
    moderator.user.refresh_from_db()
    administrator = User.objects.create_superuser("the administrator")
    desk = [
        reverse(f"admin:results_{model._meta.model_name}_change", args=[row.pk])
        for model in (ReviewCase, Proposal, Report)
        for row in model.objects.all()
    ]
    administration = [*desk, *(address for _, address in administrations())]
    pages = [each for _, each in readable(numbers(2)) if not each.startswith("/api/")]
    as_moderator = signed_in(moderator)
    read_by_moderator = {
        address: asked(as_moderator, address) for address in (*pages, *administration)
    }
    theirs = signs_in(planted, moderator.user)
    for address, text in read_by_moderator.items():
        assert [where for marker, where in theirs.items() if marker in text] == [], address
    assert any("to held, by moderator" in text for text in read_by_moderator.values())
    as_administrator = Client()
    as_administrator.force_login(administrator, "django.contrib.auth.backends.ModelBackend")
    everybodys = signs_in(planted)
    for address in administration:
        text = asked(as_administrator, address)
        found = [where for marker, where in everybodys.items() if marker in text]
        assert found == [] or address.startswith(ACCOUNT_FORMS), address
    text = asked(as_administrator, "/admin/auth/user/")
    assert [where for marker, where in everybodys.items() if marker in text], "else it can't fail"


OF_ONES_OWN = ("/api/v1/sessions/", "/api/v1/rigs/", "/api/v1/calibrations/", "/pull-sets/")


def test_the_owner_finds_what_is_theirs(planted, world):
    """Else the story above could not fail."""
    own = signed_in(world)
    found = set().union(
        *(
            planted.found_in(asked(own, address))
            for address in addresses(stand_ins())
            if address.startswith(OF_ONES_OWN)
        )
    )
    fields = {where.rpartition(" ")[2] for where in found}
    assert {"note", "tyer", "place", "spool", "label", "latitude_deg", "local_gravity"} <= fields


def test_no_mail_says_a_marker(
    planted, world, settings, mailoutbox, moderator, django_capture_on_commit_callbacks
):
    settings.SAMESPOOL_MAIL_FROM = MAIL
    pull_set = world.sessions.get(pulled_on=date(2026, 1, 1)).pull_sets.get()
    with django_capture_on_commit_callbacks(execute=True):
        decide(by=moderator.user, pull_set=pull_set, decision="hold", reason="zq99999xv")
    [mail] = mailoutbox
    said = mail.subject + mail.body
    assert "zq99999xv" not in said
    assert planted.found_in(said) == set()
