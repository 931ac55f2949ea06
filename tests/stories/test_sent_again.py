"""What a person held or rejected, sent again, waits for a person; so does what changes its figure.

Both let sets count that had been looked at, or judged, as something else.
"""

from datetime import date

import pytest

from results.intake.amend import withdraw
from results.models import PullSet, Session
from results.normalising.reprocess import correct_calibration_and_reprocess
from results.review.decisions import decide
from results.review.selectors import holds_of
from results.worker.embedded import drain
from rigs.models import CalibrationReading
from tests import making
from tests.stories.test_released_stays import HONEST_N, document, of, upload
from tests.stories.test_second_look import INFLUENCE, account, send, state_of

OTHERS_N = [91.0, 84.5, 95.5, 88.5, 79.5]
"""Another set of the same join, of which no reading stands in the first."""


@pytest.fixture
def counted(db, owner) -> PullSet:
    making.connection("Blood")
    making.connection("Albright")
    making.line("thin")
    making.line("thick", label_N=180)
    making.calibrate(making.revision_of(owner), gain=1.0, offset_N=0.0)
    pull_set = of(upload(owner, document(strong=OTHERS_N)), "usual")
    assert pull_set.state == "pooled"
    return pull_set


def amended(person, session: Session, **body) -> PullSet:
    return of(upload(person, document(**body), replaces=session, reason="Look again."), "usual")


def test_what_a_moderator_held_or_rejected_is_held_in_every_version_with_its_readings(
    counted, owner, moderator
):
    def changed(by_N: float) -> list[float]:
        return [HONEST_N[0] + by_N, *HONEST_N[1:]]

    decide(by=moderator.user, pull_set=counted, decision="hold", reason="Which spool was it?")
    second = amended(owner, counted.session, strong=OTHERS_N, note="Rain.")
    assert second.state == "held"
    (check,) = holds_of(second)
    assert check.name == "decided on before"
    assert f"stood in set {counted.pk}, which was held" in check.sentence
    drain()
    decide(by=moderator.user, pull_set=second, decision="reject", reason="Another spool.")
    third = amended(owner, second.session, strong=OTHERS_N, other=changed(0.3))
    assert third.state == "held"
    assert "rejected" in holds_of(third).get().sentence
    withdraw(third.session, owner, "Once more.")
    again = of(upload(owner, document(strong=OTHERS_N, note="Another day.")), "usual")
    assert again.state == "held"
    decide(by=moderator.user, pull_set=again, decision="release", reason="The spool was shown.")
    drain()
    assert amended(owner, again.session, strong=OTHERS_N, note="It rained.").state == "pooled"


def test_other_readings_than_a_moderator_has_decided_on_count(counted, owner, other, moderator):
    decide(by=moderator.user, pull_set=counted, decision="hold", reason="Which unit was it?")
    pulled_again = [reading + 4.4 for reading in HONEST_N]
    assert amended(owner, counted.session, strong=OTHERS_N, other=pulled_again).state == "pooled"
    making.calibrate(making.revision_of(other), gain=1.0, offset_N=0.0)
    assert "decided on before" not in {
        check.name for check in holds_of(of(upload(other, document(strong=OTHERS_N)), "usual"))
    }


def with_zero_at(offset_N: float) -> list[CalibrationReading]:
    return [
        CalibrationReading(
            number=number,
            mass_kg=mass,
            mass_written=f"{mass:g} kg",
            how_known=CalibrationReading.HowKnown.CERTIFIED,
            force_N=9.81 * mass,
            reading_N=9.81 * mass + offset_N,
            reading_written=f"{9.81 * mass + offset_N:.1f} N",
        )
        for number, mass in enumerate((2.0, 5.0, 10.0, 15.0, 18.0), start=1)
    ]


@pytest.mark.parametrize(("offset_N", "state"), [(35.0, "held"), (1.0, "pooled")])
def test_a_corrected_calibration_that_moves_a_set_far_has_its_influence_judged_again(
    db, offset_N, state
):
    for number, mean_N in enumerate((78.0, 80.0, 82.0, 81.0), start=1):
        send(account(f"tester {number}", joined=number), mean_N)
    counting = send(account("tester 5", joined=5), 80.5)
    assert counting.state == "pooled"
    revision = counting.session.revision
    correct_calibration_and_reprocess(
        revision.rig.owner.user,
        revision.calibrations.latest("pk"),
        date(2026, 1, 1),
        with_zero_at(offset_N),
        "The zero was not read.",
    )
    drain()
    assert state_of(counting) == state
    assert {check.name for check in holds_of(counting)} == (
        {INFLUENCE} if state == "held" else set()
    )
