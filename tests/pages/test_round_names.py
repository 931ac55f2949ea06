"""A round by its name, wherever somebody reads of it who has no part in it."""

import re
from collections import deque
from collections.abc import Iterator
from html import unescape

import pytest
from django.test import Client

from results.catalogue.accepted_names import accept_from_the_beginning
from results.models import AcceptedName, Notice
from results.rounds.closing import close
from results.worker.embedded import drain
from tests import playing

pytestmark = pytest.mark.usefixtures("planted_past")
TITLE = "Zq spring round"
MENTION = re.compile(r'<a [^>]*href="(/rounds/\d+/)"[^>]*>(.*?)</a>', re.DOTALL)
HREF = re.compile(r'href="(/[^"#]*)')
ELSEWHERE = re.compile(r"/(api|static|feeds|account|open-data|about|measures|watch|follow|sign)")
MOST_PAGES = 250


@pytest.fixture(autouse=True)
def _nothing_waits_for_a_second_look(settings):
    settings.SAMESPOOL_SCREENING = {"influence_limit": {"least": 9.0, "most": 9.0}}


@pytest.fixture
def closed(db):
    organiser = playing.member("organiser")
    testers = [playing.member(f"ringer {number}") for number in range(4)]
    for tester in testers:
        playing.lent_rig(tester)
    made, entered = playing.opened(organiser, testers, title=TITLE)
    for participant in entered:
        playing.sends(participant)
    close(organiser, made)
    drain()
    return made


def pages_of_a_guest() -> Iterator[tuple[str, str]]:
    """Every page that links lead a guest to, from the front page on."""
    guest, waiting, met = Client(), deque(["/", "/rounds/"]), {"/", "/rounds/"}
    while waiting and len(met) <= MOST_PAGES:
        address = waiting.popleft()
        answer = guest.get(address)
        if answer.status_code != 200 or "html" not in answer["Content-Type"]:
            continue
        content = answer.content.decode()
        yield address, content
        for link in map(unescape, HREF.findall(content)):
            if link not in met and not ELSEWHERE.match(link):
                met.add(link)
                waiting.append(link)


def mentions() -> dict[str, set[str]]:
    """By the kind of page what its links to a round are called."""
    found: dict[str, set[str]] = {}
    for address, content in pages_of_a_guest():
        for _, called in MENTION.findall(content):
            kind = re.sub(r"\d+|(?<=^/testers/).*", "N", address)
            found.setdefault(kind, set()).add(" ".join(unescape(called).split()))
    return found


def test_whoever_has_no_part_in_a_round_reads_its_title_or_what_it_is(closed):
    """Everywhere that links lead to: until its title is accepted it is the round of a club."""
    before = mentions()
    assert {"/rounds/", "/rounds/N/report/", "/pools/N/", "/pull-sets/N/"} <= set(before)
    said = f"round {closed.pk} of Harbour Club"
    assert {called[0].lower() + called[1:] for each in before.values() for called in each} == {said}
    assert not [address for address, content in pages_of_a_guest() if TITLE in content]
    accept_from_the_beginning(AcceptedName.Kind.ROUND, {TITLE})
    after = mentions()
    assert set(after) == set(before)
    assert {called for each in after.values() for called in each} == {TITLE}


def test_a_notice_does_not_call_a_round_by_its_number_beside_its_title(closed):
    for notice in Notice.objects.filter(about=Notice.About.ROUND):
        assert not re.search(r"\b[Rr]ound \d", notice.text), notice.text
