"""Nothing is learned from straight line that is held, rejected or withdrawn.

A session in a wrong unit: its readings are held, and the days before and after it go on as if it
had not been sent, in every place that looks at straight line.
"""

from __future__ import annotations

import ast
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest

from results.intake import amend
from results.jobs import queue
from results.models import Baseline, NormalisedSet, Notice, PairReference, PullSet, Session
from results.normalising import borrowed_baselines
from results.normalising.reference_line import Specimen
from results.normalising.usable_straight import usable
from results.pages.bench import selectors
from results.review.decisions import decide
from results.rig_checks import control_charts
from results.rig_checks.revision_comparison import bridges_of
from results.screening.evidence import evidence_of
from results.worker import embedded
from tests import making
from tests.making import PARTED_STRAIGHT

pytestmark = pytest.mark.usefixtures("planted_past")

ROOT = Path(__file__).resolve().parents[2]
FIRST_DAY = date(2026, 1, 10)
OF_A_POUND = 1 / 4.4482216152605
STATES = ("held by a check", "held by a moderator", "rejected", "withdrawn")


def _session(revision, day: int, factor: float = 1.0, *, straight=PARTED_STRAIGHT) -> Session:
    session = making.session(revision, pulled_on=FIRST_DAY + timedelta(days=day))
    thin, thick = making.line("thin"), making.line("thick", label_N=180)
    if straight:
        making.straight(session, thin, [factor * load for load in straight])
        making.straight(session, thick, [factor * load for load in (190.0, 188.0, 191.0)])
    making.joined(session, thin, thick, [factor * load for load in (80.0, 84.0, 81.0, 83.0)])
    queue.enqueue(session)
    return session


def _revised(revision):
    first = type(revision).objects.get(pk=revision.pk)
    first.pk, first._state.adding, first.number = None, True, 2
    first.made_on = FIRST_DAY + timedelta(days=20)
    first.save()
    return first


@pytest.fixture
def revision(owner):
    return making.revision_of(owner)


@pytest.fixture
def good(revision) -> list[Session]:
    """Three good days, the last of them on the changed rig."""
    sessions = [_session(revision, 0), _session(revision, 2), _session(_revised(revision), 21)]
    embedded.drain()
    return sessions


def _spoil(session: Session, how: str, moderator, owner) -> None:
    """Bring the sets of a session where nothing is learned from them."""
    sets = PullSet.objects.filter(session=session)
    if how == "held by a check":
        assert {each.state for each in sets} == {"held"}
    elif how == "withdrawn":
        amend.withdraw(session, owner, "pounds were written as newtons")
    else:
        decision = "reject" if how == "rejected" else "hold"
        for pull_set in sets.exclude(state=decision.replace("hold", "held")):
            decide(
                by=moderator.user, pull_set=pull_set, decision=decision, reason="pounds as newtons"
            )
    embedded.drain()


def _chart(series) -> list[tuple[Any, ...]]:
    return [
        (
            one.key,
            [(point.session.pk, point.sources, point.mean_N) for point in one.points],
            [point.session.pk for point in one.signals],
        )
        for one in series
    ]


def learned(owner, good: list[Session]) -> dict[str, Any]:
    """What every look at straight line comes to, by who looks."""
    rig = good[0].revision.rig
    wanted = [Specimen(making.line("thin"), "")]
    later = Session(revision=good[1].revision, pulled_on=FIRST_DAY + timedelta(days=4), state="dry")
    evidence = [evidence_of(session) for session in good]
    bridges = bridges_of(rig)
    return {
        "watching": _chart(control_charts.series_of(rig)),
        "bridging": [
            (bridge.verdict, [(c.before.point.sources, c.after.point.sources) for c in found])
            for bridge in bridges
            for found in [bridge.comparisons]
        ],
        "borrowing": [lent.baselines for lent in borrowed_baselines.borrow(later, wanted).values()],
        "bench": [each.pk for each in selectors.latest_straight(owner)],
        "evidence": [
            (straight.others_N.tolist(), straight.earlier_N.tolist())
            for each in evidence
            for straight in each.straight
        ],
        "usual scatter": [
            (joined.others.cv_join, joined.others.cv_baseline)
            for each in evidence
            for joined in each.joined
            if joined.others
        ],
        "usable": sorted(usable(Baseline.objects.all()).values_list("pk", flat=True)),
    }


@pytest.mark.parametrize("how", STATES)
def test_nothing_is_learned_from_it_and_no_one_is_warned(how, good, revision, owner, moderator):
    before, notices = learned(owner, good), Notice.objects.filter(baseline__isnull=False).count()
    factor = OF_A_POUND if how == "held by a check" else 1.03
    spoiled = _session(revision, 3, factor)
    embedded.drain()
    _spoil(spoiled, how, moderator, owner)
    assert learned(owner, good) == before
    assert Notice.objects.filter(baseline__isnull=False).count() == notices == 0


def test_what_is_released_counts_again(good, revision, moderator, owner):
    spoiled = _session(revision, 3, OF_A_POUND)
    embedded.drain()
    before = learned(owner, good)
    for pull_set in spoiled.pull_sets.all():
        decide(by=moderator.user, pull_set=pull_set, decision="release", reason="a light line")
    assert learned(owner, good)["watching"] != before["watching"]
    assert set(usable(spoiled.baselines.all())) == set(spoiled.baselines.all())


def test_what_was_borrowed_of_it_is_given_back_and_lent_again_once_it_is_released(
    revision, moderator
):
    lender, borrower = _session(revision, 0), _session(revision, 1, straight=())
    embedded.drain()
    borrowed = PullSet.objects.get(session=borrower)
    assert borrowed.normalised.baseline.session == lender
    [lent] = lender.pull_sets.all()
    decide(by=moderator.user, pull_set=lent, decision="hold", reason="which unit was it?")
    embedded.drain()
    assert not NormalisedSet.objects.filter(pull_set=borrowed).exists()
    decide(by=moderator.user, pull_set=lent, decision="release", reason="newtons after all")
    embedded.drain()
    assert NormalisedSet.objects.get(pull_set=borrowed).baseline.session == lender


def test_a_held_session_fixes_no_reference_for_the_others(revision, other):
    """Two lines that part alike: whoever counts first says which is the reference, and no other."""
    one, two = making.line("one", label_N=95), making.line("two", label_N=95)

    def session(of, factor: float, weaker) -> Session:
        pulled = making.session(of)
        for each in (one, two):
            share = 0.98 if each == weaker else 1.0
            making.straight(pulled, each, [factor * share * load for load in PARTED_STRAIGHT])
        making.joined(pulled, one, two, [factor * load for load in (70.0, 74.0, 71.0, 73.0)])
        queue.enqueue(pulled)
        embedded.drain()
        return pulled

    held = session(revision, OF_A_POUND, one)
    assert held.pull_sets.get().state == "held"
    assert not PairReference.objects.exists()
    session(making.revision_of(other), 1.0, two)
    assert PairReference.objects.get().reference_line == two


LOOKS = {
    "api/pool_parts.py": "none: an empty queryset for the schema",
    "results/intake/amend.py": "what leaves with a session",
    "results/normalising/baseline_report.py": "a session's own, and what it borrowed",
    "results/pages/bench/selectors.py": "usable",
    "results/normalising/borrowed_baselines.py": "usable",
    "results/catalogue/selectors.py": "counting",
    "results/pools/descriptives.py": "the members of a pool",
    "results/review/desk/case.py": "counting",
    "results/review/moved.py": "those named, of which the ones that don't count",
    "results/accounts/erase.py": "what is blanked",
    "results/screening/evidence.py": "counting",
    "results/screening/first_come.py": "none: whose readings came first",
    "results/screening/references.py": "counting",
    "results/screening/shapes.py": "none: whose readings came first",
    "results/intake/storing.py": "a session's own, as it is stored",
    "results/pools/selectors.py": "counting",
    "results/pools/pool_data.py": "counting",
    "results/normalising/traced_errors.py": "what was pulled together, by one baseline of it",
    "results/normalising/normalise.py": "a session's own, and what it borrows",
    "results/normalising/pair_evidence.py": "usable, of sessions that count",
    "results/normalising/references.py": "counting",
    "results/pools/label_ratios.py": "counting",
    "results/public/rows.py": "what is public",
    "results/pages/rigs/charts.py": "one baseline, by its id",
    "results/pools/circumstances.py": "the members of a pool",
    "results/pools/pulls_behind.py": "what a snapshot names",
    "results/review/selectors.py": "one set",
    "results/review/decisions.py": "one set",
    "results/review/desk/case_record.py": "one set",
    "results/screening/linked.py": "none: which testers are linked",
    "results/screening/over_time.py": "counting",
    "results/screening/screen.py": "a session's own",
    "results/screening/taken_back.py": "none that counts: what a tester withdrew",
    "results/intake/selectors.py": "a session's own",
    "results/intake/unit_repair.py": "counting",
    "results/rig_checks/control_charts.py": "usable",
}
"""Every module that looks straight line up, or what was measured against it, and which of it."""
NAMES = {"usable": "usable", "counting": "COUNTING"}


def _looks_up(tree: ast.AST) -> bool:
    return any(
        isinstance(node, ast.Attribute)
        and node.attr == "objects"
        and isinstance(node.value, ast.Name)
        and node.value.id in ("Baseline", "NormalisedSet")
        for node in ast.walk(tree)
    )


def test_every_look_at_straight_line_is_known_and_says_which_of_it_counts():
    modules = {
        str(path.relative_to(ROOT)): path.read_text()
        for folder in ("api", "results", "rigs")
        for path in (ROOT / folder).rglob("*.py")
        if "migrations" not in path.parts
    }
    looking = {name for name, text in modules.items() if _looks_up(ast.parse(text))}
    assert looking == set(LOOKS)
    for name, which in LOOKS.items():
        assert NAMES.get(which, "") in modules[name], f"{name} does not say which sets count"
