"""The list of joins: which join from this main line to that leader, as far as pulls can tell."""

from tests.pages.conftest import pool_of


def test_a_join_shows_its_pooled_figure_its_interval_and_what_a_new_tester_may_get(league, read):
    version = pool_of("Blood").current
    text = read("/").text
    assert f"{100 * version.efficiency:.1f}%" in text
    assert f"{100 * version.interval_low:.1f} to {100 * version.interval_high:.1f}%" in text
    assert f"{100 * version.prediction_low:.1f} to {100 * version.prediction_high:.1f}%" in text
    assert f"{100 * version.held_by_nine:.1f}%" in text
    assert "4 testers , 24 pulls" in text


def test_joins_that_do_not_differ_significantly_stand_together_and_share_their_places(league, read):
    text = read("/").text
    together = text[text.index("Not enough data to separate these") : text.index("Surgeon's place")]
    assert together.count("place 1 to 2") == 2
    assert "Surgeon's place 3 " in text


def test_below_three_testers_there_is_no_rank_and_no_pooled_figure(league, read):
    text = read("/").text
    unranked = text[text.rindex("Not ranked") : text.index("Compare side by side")]
    assert "Albright too few testers: 2 of 3; 2 sets, 12 pulls" in unranked
    assert "%" not in unranked
    assert "place" not in unranked


def test_a_join_keeps_its_place_when_it_is_asked_for_alone(league, read):
    text = read("/", connection="Surgeon's").text
    assert "Surgeon's place 3 " in text
    assert (
        "Strongest of those that fit what you chose; 2 other joins are left out: Surgeon's" in text
    )
    assert "Blood" not in text.split("All pools as JSON")[0].split("are left out")[1]


def test_a_filter_that_makes_no_sense_is_reported_beside_its_field(league, read):
    page = read("/", least_testers="many", to="gut")
    assert "Enter a whole number." in page.text
    assert "gut is not one of the available choices" in page.text
    assert "Blood" in page.text
