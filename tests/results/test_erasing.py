"""Erasing: nothing a contributor wrote is left in any table, and the audit says which rows."""

import json
from hashlib import sha256

import pytest
from allauth.account.models import EmailAddress
from django.apps import apps
from django.contrib.admin.models import CHANGE, LogEntry
from django.contrib.auth.models import User
from django.contrib.contenttypes.models import ContentType
from django.core.management import CommandError, call_command
from django.db import models
from django.test import Client
from knox.models import AuthToken

from results import intake
from results.accounts.close import close_account
from results.accounts.erase import erase_row
from results.accounts.personal_columns import (
    BY_OTHERS,
    ERASED,
    NOT_PERSONAL,
    Spools,
    rows_of,
)
from results.catalogue.accepted_names import accept_names
from results.models import (
    AcceptedName,
    Baseline,
    Connection,
    ConnectionAlias,
    Erasure,
    Message,
    Proposal,
    Pull,
    PullSet,
    Report,
    Session,
    StateChange,
    TieParameter,
    Upload,
    WaitingSession,
)
from results.review.decisions import answer, decide
from results.worker import embedded
from rigs.correcting import correct_revision, void_calibration
from rigs.models import Contributor, Line, Rig
from rigs.refusals import Forbidden, Invalid
from tests import making, playing
from tests.results.test_closing_at_once import document
from tests.rewriting import rewriting
from tests.security.enumerating import stored

MARK = "Zq7marker"
TEXT = (models.CharField, models.TextField, models.BinaryField, models.JSONField)


def text_columns() -> set[str]:
    """Every column that can hold words: of text, of JSON, of bytes, and not of a choice."""
    return {
        f"{model._meta.label}.{field.name}"
        for model in apps.get_models(include_auto_created=True)
        for field in model._meta.concrete_fields
        if isinstance(field, TEXT) and not field.choices
    }


def test_every_column_of_words_is_erased_or_is_said_not_to_be_personal_and_why():
    declared = {each.label for each in (*ERASED, *BY_OTHERS)}
    assert declared & set(NOT_PERSONAL) == set()
    assert text_columns() - declared - set(NOT_PERSONAL) == set()
    assert set(NOT_PERSONAL) - text_columns() == set()
    assert all(reason for reason in NOT_PERSONAL.values())


@pytest.fixture
def admin(db) -> User:
    return User.objects.create_superuser("keeper")


@pytest.fixture
def wordy(owner, moderator) -> Contributor:
    """An account with a row of everything, a marker in every column that erasing knows."""
    revision = making.revision_of(owner)
    making.calibrate(revision, gain=1.0, offset_N=0.0)
    void_calibration(owner.user, making.calibrate(revision, gain=1.0, offset_N=0.0), MARK)
    correct_revision(owner.user, revision, {"load_path": MARK}, MARK)
    making.line("thin"), making.line("thick", label_N=180), making.connection("Blood")
    first, second, third = (
        intake.receive(owner, document("shed winch", day), intake.JSON, f"{MARK} key {day}").session
        for day in (10, 11, 12)
    )
    embedded.drain()
    pull_set = first.pull_sets.first()
    decide(by=moderator.user, pull_set=pull_set, decision="hold", reason="which spool?")
    answer(by=owner.user, pull_set=pull_set, text=MARK)
    StateChange.objects.create(
        pull_set=pull_set, from_state="held", to_state="rejected", by=owner.user, reason=MARK
    )
    intake.receive(
        owner, document("shed winch", 20), intake.JSON, None, replaces=second, reason=MARK
    )
    Session.objects.filter(pk=third.pk).update(standing="withdrawn", standing_reason=MARK)
    intake.let_wait(owner, MARK, MARK.encode(), intake.CSV)
    WaitingSession.objects.create(contributor=owner, body=b"{}")
    Proposal.objects.create(contributor=owner, kind="line", name=MARK)
    Line.objects.create(name=MARK, material="other", proposed_by=owner)
    proposed = Connection.objects.create(name=MARK, kind="crimp", proposed_by=owner)
    ConnectionAlias.objects.create(connection=proposed, name=MARK)
    TieParameter.objects.create(connection=proposed, name=MARK, type="integer")
    making.traced(pull_set.pulls.first())
    Report.objects.create(subject_kind="rig", subject_id=1, reporter=owner, text=MARK)
    _, (taking_part, _) = playing.opened(playing.join_club(owner), [owner, moderator])
    taking_part.sealed.create(
        content_type=intake.JSON, body=b"{}", sha256=sha256(b"{}").hexdigest()
    )
    with rewriting():
        plant(owner)
    owner.user.email = f"{MARK}@example.org"
    owner.user.first_name = MARK
    owner.user.set_password(MARK)
    owner.user.save()
    EmailAddress.objects.create(user=owner.user, email=owner.user.email)
    AuthToken.objects.create(owner.user)
    LogEntry.objects.create(
        user=moderator.user,
        content_type=ContentType.objects.get_for_model(Contributor),
        object_id=str(owner.pk),
        object_repr=MARK,
        action_flag=CHANGE,
    )
    Contributor.objects.filter(pk=owner.pk).update(handle=MARK)
    owner.refresh_from_db()
    return owner


def plant(owner: Contributor) -> None:
    """Write the marker into every column that is to be erased; each has a row to write it to."""
    for personal in ERASED:
        field, found = personal.field, 0
        for rows in rows_of(owner, personal.model._meta.label):
            for row in rows:
                found += 1
                if isinstance(field, models.FloatField):
                    value: object = 55.123456789012
                elif isinstance(field, models.BinaryField):
                    value = MARK.encode()
                elif isinstance(field, models.JSONField):
                    value = [MARK]
                elif isinstance(field, models.DateTimeField):
                    value = row.started_at
                elif isinstance(personal.blank, Spools):
                    value = MARK
                else:
                    value = f"{MARK} {row.pk}"
                if personal.column != "standing_reason" or row.standing != "current":
                    rows.filter(pk=row.pk).update(**{personal.column: value})
        assert found, f"nothing here holds {personal.label}"


def left() -> list[str]:
    """Tables in which the marker, or the latitude that stands for it, is still to be found."""
    return [
        table
        for table, rows in stored().items()
        if any(MARK in row or "55.123456789012" in row for row in rows)
    ]


@pytest.mark.parametrize("keep", [True, False])
def test_nothing_that_a_contributor_wrote_is_left_of_a_closed_account(wordy, keep):
    assert len(left()) > 15
    close_account(wordy, keep=keep)
    embedded.drain()
    assert left() == []
    erasure = Erasure.objects.get(account=wordy)
    assert erasure.by == wordy.user
    assert {each.label for each in ERASED} - set(erasure.columns) <= {
        "results.WaitingUpload.file_name",
        "results.WaitingUpload.body",
        "results.WaitingSession.file_name",
        "results.WaitingSession.body",
        "results.WaitingSession.reason",
        "results.WaitingSession.problem",
        "results.PullSet.not_normalised",
    }


def test_figures_states_and_sums_stay_as_they_were(wordy):
    kept = list(Upload.objects.order_by("pk").values_list("sha256", flat=True))
    states = list(PullSet.objects.order_by("pk").values_list("pk", "state"))
    pulls = list(Pull.objects.order_by("pk").values_list("pk", "reading_N"))
    close_account(wordy, keep=True)
    assert list(Upload.objects.order_by("pk").values_list("sha256", flat=True)) == kept
    assert list(PullSet.objects.order_by("pk").values_list("pk", "state")) == states
    assert list(Pull.objects.order_by("pk").values_list("pk", "reading_N")) == pulls
    assert Message.objects.get(kind="decision").text == "which spool?"


def test_a_browser_that_was_signed_in_is_signed_in_no_more(owner):
    owner.user.set_password("winter-bench-7")
    owner.user.save()
    browser = Client()
    browser.login(username="owner", password="winter-bench-7")
    assert browser.get("/account/").status_code == 200
    close_account(owner, keep=True)
    assert not stored_sessions()


def stored_sessions() -> list[object]:
    return list(apps.get_model("sessions.Session").objects.all())


def test_the_same_spool_stays_the_same_and_another_one_another(owner):
    session = making.session(making.revision_of(owner))
    line = making.line("thin")
    making.straight(session, line, spool="spool 2")
    making.straight(session, line, spool="from Hilda")
    joined = making.joined(session, line, making.line("thick"), [80.0, 84.0])
    with rewriting():
        PullSet.objects.filter(pk=joined.pk).update(main_spool="from Hilda")
    close_account(owner, keep=True)
    first, second = Baseline.objects.order_by("pk").values_list("spool", flat=True)
    joined.refresh_from_db()
    assert joined.main_spool == second
    assert first != second
    assert "Hilda" not in second


def test_a_name_that_somebody_typed_before_hinders_nothing(owner):
    rig = making.revision_of(owner, name="first").rig
    Rig.objects.create(owner=owner, name=f"rig {rig.pk}")
    close_account(owner, keep=True)
    names = list(Rig.objects.order_by("pk").values_list("name", flat=True))
    assert names[0].startswith(f"rig {rig.pk} ")
    assert len(set(names)) == 2


def test_an_accepted_name_goes_with_the_last_account_that_has_it(owner, other, moderator):
    for name in ("the wheelhouse", "garage winch"):
        making.revision_of(owner, name=name)
        accept_names(moderator.user, AcceptedName.Kind.RIG, [name])
    making.revision_of(other, name="garage winch")
    close_account(owner, keep=True)
    assert list(AcceptedName.objects.values_list("text", flat=True)) == ["garage winch"]
    (forgotten,) = Erasure.objects.get().columns["results.AcceptedName.text"]
    assert forgotten[0] == forgotten[1]


def test_an_administrator_erases_one_row_with_a_reason_and_no_one_else_does(wordy, admin):
    pull_set = PullSet.objects.first()
    with pytest.raises(Forbidden):
        erase_row(pull_set, by=wordy.user, reason="mine")
    with pytest.raises(Invalid, match="A reason is needed"):
        erase_row(pull_set, by=admin, reason=" ")
    with pytest.raises(Invalid, match="nothing personal"):
        erase_row(pull_set, by=admin, reason="asked for", only=["state"])
    erase_row(pull_set, by=admin, reason="names a neighbour", only=["tyer"])
    pull_set.refresh_from_db()
    assert pull_set.tyer == "somebody else"
    assert MARK in pull_set.note
    erasure = Erasure.objects.get()
    assert (erasure.by, erasure.reason) == (admin, "names a neighbour")
    assert erasure.columns == {"results.PullSet.tyer": [[pull_set.pk, pull_set.pk]]}


def test_the_command_closes_an_account_and_clears_those_closed_earlier(wordy, admin, capsys):
    call_command("erase", by="keeper", reason="by letter", account=wordy.pk)
    assert left() == []
    plant_again = Session.objects.filter(contributor=wordy).first()
    with rewriting():
        Session.objects.filter(pk=plant_again.pk).update(note=MARK)
    call_command("erase", by="keeper", reason="closed by an earlier release", closed=True)
    assert left() == []
    assert json.dumps([each.columns for each in Erasure.objects.all()]).count("Session.note") == 2
    rig = str(wordy.rigs.first().pk)
    with pytest.raises(CommandError, match="Only an administrator"):
        call_command("erase", by="moderator", reason="no", row=["rigs.Rig", rig])
    with pytest.raises(CommandError, match="none such"):
        call_command("erase", by="keeper", reason="no", row=["rigs.Rig", "0"])
    assert "Erased" in capsys.readouterr().out
