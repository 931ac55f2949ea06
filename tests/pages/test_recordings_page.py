"""The page of recordings: a picture with its peaks, pulls named and left out, then a session."""

import re
import uuid

import numpy as np
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from deploy.demo.recorder import STRAIGHT, Logger, record, session
from results.intake.recordings import read_recording
from results.models import (
    Connection,
    Pull,
    Session,
    Trace,
    Upload,
    WaitingSession,
    WaitingUpload,
)
from results.pages.recordings.pictures import parts_of
from results.worker.embedded import drain
from tests.intake.conftest import bench
from tests.pages.reading import Page
from tests.pages.test_rig_pages import browser

__all__ = ["bench"]

HZ, RATE = 50, 8.0
PEAKS = (20.5, 21.02, 20.2, 19.1, 15.2, 16.0, 15.54)
ENDS = ("line", "line", "line", "grip", "join", "slip", "line:main")


def recording(peaks=PEAKS, *, heading="time_s,force_lbf", top=None) -> str:
    """A session as a logger writes it: two seconds of slack, a steady rise, the break."""
    rng = np.random.default_rng(19)
    slack = np.zeros(2 * HZ)
    rises = [np.append(np.arange(0, peak, RATE / HZ), peak) for peak in peaks]
    force = np.concatenate([each for rise in rises for each in (slack, rise)] + [slack])
    noisy = np.round(force + rng.normal(0, 0.01, force.size) * ~np.isin(force, peaks), 2)
    noisy = noisy if top is None else np.minimum(noisy, top)
    rows = [f"{at / HZ:.2f},{each:.2f}" for at, each in enumerate(noisy)]
    return "\n".join([heading, *rows, ""])


def naming(peaks=PEAKS, ends=ENDS, **changed) -> dict[str, str]:
    """The form of `recording`, filled in: four pulls of straight line, the rest of a join."""
    said = {
        "rows": "2",
        "pulled_on": "2026-01-10",
        "state": "dry",
        "loading": "static",
        "s1-line": "thin",
        "s1-spool": "A",
        "s1-position": "before",
        "s2-position": "before",
        "j1-connection": "Double uni",
        "j1-main": "thin",
        "j1-main_spool": "A",
        "j1-leader": "thick",
        "j1-parameters": "turns main=6",
        "j1-discarded_ties": "1",
        "j2-discarded_ties": "0",
        "p1-of": "s1",
        "p5-of": "j1",
    }
    said |= {f"p{number}-end": end for number, end in enumerate(ends, 1)}
    return said | changed


@pytest.fixture
def as_owner(owner):
    return browser(owner)


@pytest.fixture
def send(as_owner):
    """Send a recording; the address where it is named."""

    def send(text: str, name: str = "logger.csv") -> str:
        sent = {"file": SimpleUploadedFile(name, text.encode(), "text/csv")}
        return as_owner.post("/recordings/", sent).headers["Location"]

    return send


def rig_of(bench) -> dict[str, str]:
    return {"rig": str(bench.rig_id)}


def test_a_recording_becomes_a_session_without_one_retyped_number(as_owner, bench, send):
    address = send(recording())
    page = Page(as_owner.get(address))
    assert "7 pulls, numbered at their peaks; the highest force is 21.02 lbf" in page.text
    for number, peak in enumerate(PEAKS, 1):
        assert f"Pull {number}: {peak:.2f} lbf" in page.text
    assert len(page.all("polyline")) == 8
    checked = Page(as_owner.post(address, naming(**rig_of(bench))))
    assert "It can be stored." in checked.text
    assert not Session.objects.exists()
    stored = as_owner.post(address, naming(**rig_of(bench), store="yes"))
    assert stored.headers["Location"].startswith("/jobs/")
    drain()
    stored_as = Session.objects.get()
    assert [pull.reading_written for pull in stored_as.baselines.get().pulls.all()] == [
        "20.50", "21.02", "20.20", "19.10",
    ]  # fmt: skip
    pull_set = stored_as.pull_sets.get()
    assert pull_set.discarded_ties == 1
    assert pull_set.parameters == {"turns_main": 6}
    kept = [(each.reading_written, each.failure_mode, each.place) for each in pull_set.pulls.all()]
    assert kept == [("15.20", "join", ""), ("16.00", "slip", ""), ("15.54", "line", "main")]
    assert Trace.objects.count() == len(PEAKS)
    assert not WaitingUpload.objects.exists()


def test_twenty_pulls_of_a_simulated_rig_become_a_session(as_owner, bench, send):
    """Noise, drift, slips, and joins that come undone or hold: drawn by rules of its own."""
    rng = np.random.default_rng(19)
    drawn = record(rng, Logger(unit="lbf", step=0.02), session(rng))
    found = read_recording(drawn.as_csv(), "text/csv")
    numbers = {
        truth: number
        for number, part in enumerate(parts_of(found.cut), 1)
        for truth in drawn.truth
        if part in found.cut.pulls
        and truth.begins_s < found.time_s[part.peak] + drawn.time_s[0] < truth.peak_at_s + 1
    }
    assert len(numbers) == len(drawn.truth) == 20
    ends = {"break": "join", "slide": "slip", "hold": "none"}
    form = {"rows": "2"} | naming(ends=())
    form |= {f"p{number}-of": "out" for number in range(1, 99) if number not in numbers.values()}
    for truth, number in numbers.items():
        is_straight = truth.kind == STRAIGHT
        form[f"p{number}-of"] = "s1" if is_straight else "j1"
        form[f"p{number}-end"] = "line" if is_straight else ends[truth.ends]
    address = send(drawn.as_csv().decode())
    as_owner.post(address, form | rig_of(bench) | {"store": "yes"})
    pulls = [*Pull.objects.order_by("pk")]
    assert len(pulls) == 20
    for pull, truth in zip(pulls, sorted(drawn.truth, key=lambda each: each.begins_s), strict=True):
        # Within zero, noise and what sampling misses: what is left of it is the budget's matter.
        assert pull.reading_N == pytest.approx(truth.peak_N, abs=4)
        assert pull.trace.count > 100


def test_sent_twice_it_is_stored_once(as_owner, bench, send):
    address = send(recording())
    form = naming(**rig_of(bench), store="yes")
    first, second = (as_owner.post(address, form).headers["Location"] for _ in range(2))
    assert first == second
    assert Upload.objects.count() == 1


def test_what_is_not_named_is_said_beside_its_pull_and_nothing_is_stored(as_owner, bench, send):
    address = send(recording())
    form = naming(**rig_of(bench), store="yes") | {"p2-end": "", "p5-of": "j2", "p1-of": ""}
    answer = as_owner.post(address, form)
    assert answer.status_code == 422
    page = Page(answer)
    assert "Choose how it ended, or leave the pull out." in page.text
    assert "Choose what the first pull is of." in page.text
    assert "Fill that in above first" in page.text
    # What was chosen is still there.
    assert [each["value"] for each in page.all("input", id="id_s1-line")] == ["thin"]
    assert not Session.objects.exists()


def test_a_pull_is_left_out_and_more_rows_are_asked_for(as_owner, bench, send):
    address = send(recording())
    more = Page(as_owner.post(address, naming(**rig_of(bench), more="yes")))
    assert len(more.all("input", id="id_j4-connection")) == 1
    (discarded,) = more.all("input", id="id_j4-discarded_ties")
    assert discarded["value"] == "0"
    assert "required" not in discarded
    assert "This field is required" not in more.text
    left = naming(**rig_of(bench), store="yes") | {"p4-of": "out", "p4-end": ""}
    as_owner.post(address, left)
    assert Session.objects.get().baselines.get().pulls.count() == 3


def test_a_unit_that_the_file_does_not_say_is_asked_for(as_owner, bench, send):
    address = send(recording(heading="time_s,force"))
    asked = as_owner.get(address)
    assert asked.status_code == 422
    assert "unit" in Page(asked).text
    page = Page(as_owner.get(address, {"unit": "kgf"}))
    assert "Pull 2: 21.02 kgf" in page.text
    [form] = page.all("form", id="name")
    assert form["action"].endswith("?unit=kgf")


def test_a_column_that_is_not_there_is_said_by_the_name_of_its_field(as_owner, bench, send):
    asked = as_owner.get(send(recording()), {"force_column": "9"})
    assert asked.status_code == 422
    said = Page(asked).text
    assert "Column of force: found column 9, which isn't there" in said
    assert "force_column" not in said


def test_faults_are_marked_on_the_picture_and_said_beside_the_pull(as_owner, bench, send):
    lines = recording(top=20.3).splitlines()
    del lines[160:220]
    page = Page(as_owner.get(send("\n".join(lines))))
    assert "The top is flat for" in page.text
    assert "No sample for 1.22 s" in page.text
    marks = [each for each in page.all("line") if each.get("class") == "fault"]
    assert len(marks) >= 4


def test_a_finding_of_the_check_names_the_pull_and_not_a_place_in_a_document(as_owner, bench, send):
    address = send(recording((*PEAKS, 155.4)))
    page = Page(as_owner.post(address, naming(**rig_of(bench), **{"p8-end": "join"})))
    assert "pull 8, reading" in page.text
    assert "pull_sets[" not in page.text


def test_a_recording_as_it_should_be_has_nothing_unusual(as_owner, bench, send):
    page = Page(as_owner.post(send(recording()), naming(**rig_of(bench))))
    assert "It can be stored." in page.text
    assert "Unusual" not in page.text


def test_what_is_wrong_is_said_in_the_words_of_the_form(as_owner, bench, send):
    wrong = {"j1-connection": "Heron hitch", "s1-line": "thinn", "j1-leader": "thikk"}
    page = Page(as_owner.post(send(recording()), naming(**rig_of(bench), **wrong)))
    assert "straight line 1, line: found" in page.text
    assert "join 1, " in page.text
    assert not re.search(r"\[\d|[a-z]_[a-z]", page.text.partition("Rig and day")[0])


def test_a_recording_without_a_pull_says_so_and_has_nothing_to_fill_in(as_owner, bench, send):
    flat = [f"{at / HZ:.2f},0.00" for at in range(500)]
    page = Page(as_owner.get(send("\n".join(["time_s,force_lbf", *flat, ""]))))
    assert "No pull was found in this recording." in page.text
    assert not page.all("form", id="name")


def test_a_join_that_the_catalogue_lacks_can_be_proposed_and_the_session_waits(
    as_owner, bench, send
):
    address = send(recording())
    form = naming(**rig_of(bench), **{"j1-connection": "Heron hitch", "j1-parameters": ""})
    refused = as_owner.post(address, form)
    assert refused.status_code == 422
    assert "Propose what is missing" in Page(refused).text
    proposed = as_owner.post(address, form | {"propose": "yes"})
    assert proposed.headers["Location"].startswith("/upload/waiting/")
    assert WaitingSession.objects.count() == 1
    assert not Connection.objects.filter(name="Heron hitch", accepted=True).exists()


@pytest.mark.parametrize(
    ("name", "text", "said"),
    [
        ("logger.pdf", "x", "can't be read here"),
        ("logger.csv", "", "no sample"),
        ("logger.csv", "time_s,force_N\n1,2\n", "sample"),
        ("logger.csv", "\x00\x01\x02" * 50, ""),
        ("logger.json", "{", "JSON"),
        ("logger.xlsx", "no zip", ""),
    ],
)
def test_what_is_no_recording_is_refused_in_words(as_owner, bench, name, text, said):
    sent = {"file": SimpleUploadedFile(name, text.encode() or b" ", "text/csv")}
    answer = as_owner.post("/recordings/", sent, follow=True)
    assert answer.status_code == 422
    assert len(Page(answer).all("div", role="alert")) == 1


def test_a_file_of_a_session_is_no_recording_and_the_reverse(as_owner, owner, bench, send):
    address = send(recording())
    key = address.strip("/").split("/")[1]
    assert as_owner.post(f"/upload/{key}/store/").status_code == 409
    assert not Session.objects.exists()
    gone = as_owner.get(f"/recordings/{uuid.uuid4()}/", follow=True)
    assert "send the recording again" in Page(gone).text


def test_another_tester_has_no_way_to_a_recording(as_owner, other, bench, send):
    address = send(recording())
    gone = browser(other).get(address)
    assert gone.headers["Location"] == "/recordings/"


def test_what_is_wrong_with_a_pull_is_asked_about_once_more_before_it_is_stored(
    as_owner, bench, send
):
    """Beside its picture it is easily passed over: the page is several screens long."""
    address = send(recording((20.5, 21.02, 20.2, 19.1, 15.2, 16.0, 15.54), top=20.0))
    checked = Page(as_owner.post(address, naming(**rig_of(bench))))
    assert "Unusual: please check" in checked.text
    assert "pull 2, recording: found a flat top at 20 lbf" in checked.text
    stored = as_owner.post(address, naming(**rig_of(bench), **{"p2-of": "out"}))
    assert "flat top at" not in Page(stored).text.partition("Rig and day")[0]


def test_a_slip_that_the_recording_shows_is_ticked_and_stored_with_its_pull(as_owner, bench, send):
    text = recording().splitlines()
    force = [float(line.partition(",")[2]) for line in text[1:]]
    top = 1 + next(at for at, each in enumerate(force) if each == 15.2 and force[at + 1] < 1)
    slipped = [line.replace(line.split(",")[1], "2.00") for line in text[top - 30 : top - 20]]
    text[top - 30 : top - 20] = slipped
    address = send("\n".join(text))
    page = Page(as_owner.get(address))
    ticked = [each["name"] for each in page.all("input") if "checked" in each]
    assert ticked == ["p5-slipped_first"]
    as_owner.post(address, naming(**rig_of(bench), store="yes", **{"p5-slipped_first": "on"}))
    assert Pull.objects.get(slipped_first=True).reading_written == "15.20"


def test_a_row_that_could_not_be_read_is_named_by_its_number_alone(as_owner, send):
    page = Page(as_owner.get(send("time_s,force_N\n" + "0.1,1\n" * 9 + "0.2,ERR\n" * 9)))
    assert "11: found '0.2 ERR', expected a time and a force" in page.text
    assert ", :" not in page.text


def test_a_sheet_of_readings_that_came_as_a_recording_is_shown_the_way_to_the_other_page(
    as_owner, send
):
    page = Page(as_owner.get(send("join,reading,failure\n" + "Double uni,15.2 lb,join\n" * 9)))
    assert "A sheet with one reading for each pull is no recording: send it as a file" in page.text
    assert "/upload/" in [each.get("href") for each in page.all("a")]
