"""What each person with something to do in a round reads of it, and what they do."""

from dataclasses import replace

import pytest

from results.models import Round
from results.rounds.allocating import open_round
from results.rounds.closing import close
from results.rounds.codes import readable
from results.rounds.entering import enter
from results.rounds.set_up import set_up
from tests import playing
from tests.pages.reading import Page
from tests.pages.test_rig_pages import browser
from tests.pages.test_rounds import closed, organiser, planned, testers, text_of
from tests.people import contributor

__all__ = ["organiser", "testers"]


def test_who_ties_for_everybody_reads_what_and_how_many_and_no_code(organiser, testers):
    """They take no part themselves, or do and stay blind for their own."""
    for tyer in (contributor("knotter"), testers[0]):
        plan = playing.draft(tyer=tyer)
        hidden = replace(plan.samples[0], specification="seven turns", ties=3)
        made, _ = playing.opened(
            organiser, testers[:3], tyer=tyer, samples=[hidden, *plan.samples[1:]]
        )
        said = text_of(browser(tyer), f"/rounds/{made.pk}/")
        assert "Sample 1: 18 times Blood, thin (spool spring reel) to thick" in said
        assert "Sample 2: 15 times Albright" in said
        assert "seven turns" in said
        codes = [one.code for each in made.participants.all() for one in each.specimens.all()]
        own = made.participants.filter(contributor=tyer).first()
        for code in codes:
            is_own = own is not None and own.specimens.filter(code=code).exists()
            assert (readable(code) in said) == is_own
        other = text_of(browser(testers[1]), f"/rounds/{made.pk}/")
        assert "What you tie for everybody" not in other
        assert "seven turns" not in other


def test_everyone_with_something_to_do_reads_on_the_bench_that_the_round_is_open(
    organiser, testers
):
    packer, tyer = contributor("packer"), contributor("knotter")
    playing.opened(organiser, testers[:2], packer=packer, tyer=tyer)
    for person in (*testers[:2], packer, tyer):
        said = text_of(browser(person), "/bench/")
        assert "Spring round : The round is open" in said.replace("round:", "round :"), person
    assert "5 codes to send, by 15 Apr 2026" in text_of(browser(testers[0]), "/bench/")
    assert "codes to send" not in text_of(browser(packer), "/bench/")


def test_who_ties_for_everybody_is_told_on_the_bench_until_the_round_is_closed(organiser, testers):
    """And nobody else; the organiser where no one is named."""
    tyer = contributor("knotter")
    made, _ = playing.opened(organiser, testers[:2], tyer=tyer)
    said = "30 joins that you tie for everybody; results are due by 15 Apr 2026"
    assert said in text_of(browser(tyer), "/bench/")
    assert "tie for 1 round" in text_of(browser(tyer), "/bench/")
    for person in (organiser, *testers[:2]):
        assert "that you tie for everybody" not in text_of(browser(person), "/bench/")
    playing.opened(organiser, testers[:2], title="Summer round")
    assert said in text_of(browser(organiser), "/bench/")
    close(organiser, made)
    assert "that you tie for everybody" not in text_of(browser(tyer), "/bench/")


def test_the_page_says_before_the_button_what_would_come_of_it(organiser, testers):
    """Opening with too few or after the last day, and closing with too few to compare."""
    made = set_up(organiser, playing.draft())
    own, address = browser(organiser), f"/rounds/{made.pk}/"
    said = Page(own.get(address))
    assert not [one for one in said.all("form") if one.get("action") == f"{address}open/"]
    assert "once two testers have entered; 0 have." in said.text
    answer = own.post(f"{address}open/", follow=True)
    assert answer.redirect_chain == [(address, 302)]
    assert "A round is opened once two testers have entered it." in Page(answer).text
    for tester in testers[:2]:
        enter(tester, made.entry_code)
    said = text_of(own, address)
    assert "The last day for results is over" in said
    open_round(organiser, made)
    assert "a report compares from 3 on" in text_of(own, f"{address}close/")
    close(organiser, made)
    assert own.get(f"{address}report/")["Location"] == address  # which says that it is computed


@pytest.mark.parametrize("far", ["9999-12-31", "2999-01-01"])
def test_a_last_day_that_was_mistyped_is_refused_since_it_only_moves_on(organiser, testers, far):
    made, _ = playing.opened(organiser, testers[:2])
    own = browser(organiser)
    answer = own.post(f"/rounds/{made.pk}/change/", {"results_by": far})
    assert answer.status_code == 422
    assert "a year from today" in Page(answer).text
    assert own.post("/rounds/set-up/", planned(results_by=far)).status_code == 422
    assert Round.objects.get().results_by == made.results_by


def test_what_an_own_report_says_of_oneself_is_one_statement(organiser, testers):
    """Where a rig is off and every score acceptable it says which to go by, and what to look at."""
    made = closed(organiser, testers)
    low = text_of(browser(testers[0]), f"/rounds/{made.pk}/report/mine/")
    assert "go by them first" in low
    assert "Check it with a known weight" in low
    other = text_of(browser(testers[1]), f"/rounds/{made.pk}/report/mine/")
    assert "known weight" not in other
    small = closed(organiser, testers[:2])
    said = text_of(browser(testers[0]), f"/rounds/{small.pk}/report/mine/")
    assert said.count("Too few to compare") == 1
    assert testers[0].handle not in said.replace(f"Signed in as {testers[0].handle}", "")
