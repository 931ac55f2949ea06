"""Pages of a connection, a line and a club, and the search for whatever bears a name."""

import numpy as np
import pytest
from django.test import Client

from deploy.demo.documents import connection_documents
from results.models import Connection, ConnectionAlias, NormalisedSet, TieParameter
from results.pages.pools.filters import SLIM
from results.pages.vocabulary import QUICK_MEANS, SLIM_MEANS
from rigs.models import Club, Contributor, Line, Rig
from tests import making
from tests.pages.conftest import pool_of
from tests.people import contributor


def test_a_connection_shows_its_names_how_it_is_tied_and_what_it_holds(league, read):
    blood = Connection.objects.get(name="Blood")
    Connection.objects.filter(pk=blood.pk).update(tools="needle")
    ConnectionAlias.objects.create(connection=blood, name="Barrel")
    TieParameter.objects.create(
        connection=blood, name="turns_main", type="integer", lowest=1, highest=20
    )
    page = read(f"/connections/{blood.pk}/")
    assert "line to line; also called Barrel" in page.text
    assert "Tools needle Turns main integer, 1 to 20" in page.text
    assert f"/pools/{pool_of('Blood').pk}/" in page.links()
    assert f"{100 * pool_of('Blood').current.efficiency:.1f}%" in page.text


@pytest.mark.parametrize(("slim", "said"), [(True, "slim: at most twice"), (False, "bulky")])
def test_slim_means_one_thing_on_a_join_s_page_and_in_the_choices_of_the_list(
    league, read, slim, said
):
    Connection.objects.filter(name="Blood").update(slim=slim, quick=slim)
    join = read(f"/connections/{Connection.objects.get(name='Blood').pk}/").text
    assert said in join
    listed = read("/").text
    for means in (SLIM_MEANS, QUICK_MEANS):
        assert str(means) in listed
        assert (str(means) in join) == slim
    assert f"{SLIM:.0f}" == "2"
    assert "twice" in str(SLIM_MEANS)


def test_a_join_says_how_it_is_tied_in_numbered_steps(league, read):
    blood = Connection.objects.get(name="Blood")
    steps = "Cross the two lines.\n\n  Wrap one end round the other line.\nTrim."
    Connection.objects.filter(pk=blood.pk).update(description=steps)
    page = read(f"/connections/{blood.pk}/")
    assert "How it is tied" in page.text
    places = [page.text.index(step.strip()) for step in steps.split("\n") if step.strip()]
    assert places == sorted(places)
    assert places[-1] < page.text.index("How strong it is")


def test_every_join_of_the_demo_says_its_steps_and_what_is_recorded_of_it():
    for document in connection_documents():
        steps = document["description"].split("\n")
        assert len(steps) >= 4, document["name"]
        assert "Trim" in steps[-1] or "trim" in steps[-1], document["name"]
        for parameter in document["parameters"]:
            word = parameter["name"].split("_")[0]
            assert word in document["description"], (document["name"], parameter["name"])


def test_a_proposal_is_seen_by_its_proposer_alone(db, owner):
    proposed = Connection.objects.create(name="Twist", kind="line to line", proposed_by=owner)
    assert Client().get(f"/connections/{proposed.pk}/").status_code == 404
    proposers = Client()
    proposers.force_login(owner.user)
    page = proposers.get(f"/connections/{proposed.pk}/").content.decode()
    assert "waiting for a moderator" in page


def test_a_line_shows_what_it_held_straight_and_the_joins_tied_in_it(league, read):
    thin = Line.objects.get(name="thin")
    page = read(f"/lines/{thin.pk}/")
    for found in NormalisedSet.objects.all():
        assert f"{found.baseline_mean_N:.1f} N" in page.text
        assert f"{found.baseline_mean_N / thin.label_strength_N:.2f}" in page.text
    assert f"/pools/{pool_of('Blood').pk}/" in page.links()
    assert "4 sets in it" in page.text


def test_loads_are_shown_as_the_reader_chose(league):
    reader, address = Client(), f"/lines/{Line.objects.get(name='thin').pk}/"
    held = NormalisedSet.objects.first().baseline_mean_N
    assert f"{held:.1f} N" in reader.get(address).content.decode()
    chosen = reader.get("/measures/", {"measures": "imperial", "back": address})
    assert chosen.headers["Location"] == address
    text = reader.get(address).content.decode()
    # 1 lbf = 4.4482216152605 N (NIST Special Publication 811, B.8)
    assert f"{held / 4.4482216152605:.1f} lbf" in text
    assert f"{held:.1f} N" not in text


@pytest.mark.parametrize("back", ["https://elsewhere.example/", "//elsewhere.example", "x"])
def test_the_choice_of_measures_leads_nowhere_else(db, back):
    answer = Client().get("/measures/", {"measures": "imperial", "back": back})
    assert answer.headers["Location"] == "/"


def test_a_club_shows_those_members_who_show_it(db, read):
    club = Club.objects.create(name="Lannet Estuary Anglers")
    shown, hidden = contributor("oxbow"), contributor("lowtide")
    Contributor.objects.filter(pk=shown.pk).update(club=club)
    Contributor.objects.filter(pk=hidden.pk).update(club=club, shows_club=False)
    page = read(f"/clubs/{club.pk}/")
    assert "oxbow" in page.text
    assert "lowtide" not in page.text


@pytest.mark.parametrize(
    ("words", "address"),
    [
        ("barr", "/connections/{blood}/"),
        ("surgeon", "/connections/{surgeon}/"),
        ("thick nylon", "/lines/{thick}/"),
        ("tester 2", "/contributors/tester%202/"),
        ("bench tester", "/rigs/{rig}/"),
    ],
)
def test_a_search_finds_whatever_has_all_the_words_in_its_name(league, read, words, address):
    blood = Connection.objects.get(name="Blood")
    ConnectionAlias.objects.create(connection=blood, name="Barrel")
    ids = {
        "blood": blood.pk,
        "surgeon": Connection.objects.get(name="Surgeon's").pk,
        "thick": Line.objects.get(name__startswith="thick").pk,
        "rig": Contributor.objects.get(handle="tester 0").rigs.first().pk,
    }
    making.accept("rig", Rig.objects.get(pk=ids["rig"]).name)
    assert address.format(**ids) in read("/search/", q=words).links()


def test_a_search_finds_no_rig_by_a_name_not_yet_accepted(league, read):
    rig = Contributor.objects.get(handle="tester 0").rigs.first()
    found = read("/search/", q=rig.name).links()
    assert f"/rigs/{rig.pk}/" not in found
    assert f"/rigs/{rig.pk}/" in read("/search/", q=rig.name, by=rig.owner).links()


@pytest.mark.parametrize(
    ("words", "found"),
    [("albrigt", "Albright"), ("blod", "Blood"), ("Surgons", "Surgeon's"), ("barel join", "Blood"),
     ("fluro leader", "Fluoro leader, 0.40 mm")],
)  # fmt: skip
def test_a_misspelt_name_is_met_by_those_near_to_it(league, read, words, found):
    """Joins by their other names as well, and lines by a word of theirs."""
    ConnectionAlias.objects.create(connection=Connection.objects.get(name="Blood"), name="Barrel")
    making.line("Fluoro leader, 0.40 mm")
    page = read("/search/", q=words)
    assert "Did you mean" in page.text
    named = [text for text in (page.text[page.text.index("Did you mean") :],) if found in text]
    assert named


def test_a_suggestion_names_nothing_that_its_reader_may_not_see(league, read, owner):
    Connection.objects.filter(name="Albright").update(accepted=False, proposed_by=owner)
    assert "Albright" not in read("/search/", q="albrigt").text
    assert "Albright" in read("/search/", q="albrigt", by=owner).text


def test_a_search_for_nothing_known_says_so(league, read):
    assert "No name contains all of these words" in read("/search/", q="zzz").text


def test_catalogue_pages_take_few_queries_and_few_bytes_however_much_there_is(
    db, owner, django_assert_max_num_queries
):
    rng = np.random.default_rng(3)
    main, leader = making.line("thin"), making.line("thick", label_N=180)
    club = Club.objects.create(name="Upper Fold Pike Group")
    for number in range(70):
        making.connection(f"tie {number}")
        person = contributor(f"member {number}")
        Contributor.objects.filter(pk=person.pk).update(club=club)
    making.straight(making.session(making.revision_of(owner)), main, rng.normal(100, 2, 5))
    for address in (
        "/search/",
        "/search/?q=t",
        f"/lines/{leader.pk}/",
        f"/clubs/{club.pk}/",
        f"/connections/{making.connection('tie 1').pk}/",
    ):
        with django_assert_max_num_queries(12):
            answer = Client().get(address)
        assert answer.status_code == 200
        assert len(answer.content) < 150_000
    assert b"page 1 of 2" in Client().get(f"/clubs/{club.pk}/").content


def test_a_line_not_yet_accepted_has_a_page_for_its_proposer_alone(db, owner, read):
    proposed = Line.objects.create(name="new", material="nylon monofilament", proposed_by=owner)
    assert Client().get(f"/lines/{proposed.pk}/").status_code == 404
    session = making.session(making.revision_of(owner))
    pull_set = making.joined(session, proposed, making.line("thick"), [70, 72, 71])
    assert Client().get(f"/lines/{proposed.pk}/").status_code == 404
    page = read(f"/pull-sets/{pull_set.pk}/")
    assert f"line {proposed.pk} to thick" in page.text
    assert f"/lines/{proposed.pk}/" not in page.links()
    assert "waiting for a moderator" in read(f"/lines/{proposed.pk}/", by=owner).text
