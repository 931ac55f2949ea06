"""A pool's figure elsewhere: in a frame on somebody's page, and as text on a message board."""

import re
from html import unescape

import pytest
from django.test import Client

from results.models import PullSet
from results.review import decisions
from results.worker.embedded import drain
from tests.pages.conftest import pool_of
from tests.pages.test_rig_pages import browser
from tests.people import contributor
from tests.security.test_pages import address_of, listed, world

__all__ = ["address_of", "world"]
FRAMED = ("pools/<int:pk>/embedded/", "pools/<int:pk>/versions/<int:number>/embedded/")


def test_only_the_embedded_pool_may_be_framed(address_of):
    client = Client(raise_request_exception=False)
    framed = []
    for route in listed():
        answer = client.get(address_of(route))
        policy = answer["Content-Security-Policy"]
        if "frame-ancestors 'none'" not in policy or answer["X-Frame-Options"] != "DENY":
            framed.append(route)
    assert framed == list(FRAMED)


def test_what_is_framed_runs_no_script_and_sends_no_form(league):
    answer = Client().get(f"/pools/{pool_of('Blood').pk}/embedded/")
    policy = answer["Content-Security-Policy"]
    assert "frame-ancestors *" in policy
    assert "script-src" not in policy
    assert "default-src 'none'" in policy
    assert "<script" not in answer.content.decode()
    assert "<form" not in answer.content.decode()


def test_an_embedded_pool_shows_everyone_the_same(league):
    address = f"/pools/{pool_of('Blood').pk}/embedded/"
    own = browser(contributor("reader"))
    own.cookies["own_line"] = "40 lbf"
    assert own.get(address).content == Client().get(address).content


@pytest.mark.usefixtures("planted_past")
def test_a_frame_follows_the_pool_or_stays_at_its_version(league, moderator, read):
    pool = pool_of("Blood")
    before = pool.current
    taken_out = PullSet.objects.filter(connection__name="Blood").order_by("pk").first()
    decisions.decide(by=moderator.user, pull_set=taken_out, decision="hold", reason="Which scale?")
    address = f"/pools/{pool.pk}/embedded/"
    assert "being recomputed since" in read(address).text  # taken down at once
    drain()
    now = pool_of("Blood").current
    assert now.number > before.number
    follows, stays = read(address), read(f"/pools/{pool.pk}/versions/{before.number}/embedded/")
    assert f"{100 * now.efficiency:.1f}%" in follows.text
    assert "superseded" not in follows.text
    assert f"{100 * before.efficiency:.1f}%" in stays.text
    assert f"version {before.number} of" in stays.text
    assert "superseded" in stays.text
    own = f"http://testserver/pools/{pool.pk}/"
    for page, shown in ((follows, own), (stays, f"{own}versions/{before.number}/")):
        assert "Not for lifting, climbing or life support" in page.text
        assert set(page.links()) == {shown}


def test_a_pool_without_a_figure_says_so_in_a_frame_as_well(league, read):
    assert "too few testers: 2 of 3" in read(f"/pools/{pool_of('Albright').pk}/embedded/").text


def test_a_pool_is_copied_as_a_sentence_with_its_address(league, read):
    pool = pool_of("Blood")
    content = Client().get(f"/pools/{pool.pk}/").content.decode()
    copied = unescape(re.search(r'<textarea id="as-text"[^>]*readonly>([^<]*)<', content)[1])
    sentence, address = copied.strip().rsplit("\n", 1)
    assert address == f"http://testserver/pools/{pool.pk}/"
    assert sentence.startswith("Blood, nylon monofilament to nylon monofilament, dry: ")
    assert f"{100 * pool.current.efficiency:.1f}%" in sentence
    assert sentence.endswith("Not for lifting, climbing or life support.")


def test_the_frame_that_a_page_offers_is_one_that_answers(league):
    content = Client().get(f"/pools/{pool_of('Blood').pk}/").content.decode()
    offered = [unescape(text) for text in re.findall(r"<textarea[^>]*>([^<]*)</", content)]
    sources = [re.search(r'<iframe src="http://testserver([^"]+)"', text) for text in offered]
    addresses = [source[1] for source in sources if source]
    assert len(addresses) == 2
    assert {Client().get(address).status_code for address in addresses} == {200}
