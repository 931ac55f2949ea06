"""Stories 7 and 8: the file that has mistakes, and the pounds that were kilograms."""

import json

import pytest

from results.models import Session, Upload
from tests import making

HEADER = "rig,revision,date,state,kind,connection,main line,leader line,reading (lbf),failure mode"
STRAIGHT = ",,,,straight,,thin,,{},line"
JOINED = ",,,,joined,Blood,thin,thick,{},join"


@pytest.fixture
def shed(owner):
    making.revision_of(owner)
    making.line("thin", label_N=60)
    making.line("thick", label_N=180)
    making.connection("Blood")


def file_of(straight, joined) -> str:
    rows = [STRAIGHT.format(reading) for reading in straight]
    rows[0] = "shed winch,1,2026-01-10,dry" + rows[0][3:]
    return "\n".join([HEADER, *rows, *(JOINED.format(reading) for reading in joined)])


def test_a_file_with_mistakes_gets_all_of_them_by_row_and_column(shed, as_owner):
    """Story 8: all of them by row and column; nothing half stored."""
    text = file_of([21, 22, "x", 21.5], [16, -15, 15.5]).replace("thick", "thik")

    answer = as_owner.post("/api/v1/sessions", text, content_type="text/csv")

    assert answer.status_code == 422
    assert [(each["row"], each["field"]) for each in answer.json()["findings"]] == [
        ("4", "reading"),
        ("6", "leader line"),
        ("7", "reading"),
    ]
    assert not Session.objects.exists()
    assert not Upload.objects.exists()


def test_two_mistakes_in_one_row_are_both_reported_and_rows_come_in_order(shed, as_owner):
    text = file_of([21, "nan", 22, 21.5], [16, 15, 15.5])
    text = text.replace("nan,line", "nan,snapped").replace(
        "Blood,thin,thick,16", "Blud,thin,thick,16"
    )

    answer = as_owner.post("/api/v1/sessions", text, content_type="text/csv")

    assert [(each["row"], each["field"]) for each in answer.json()["findings"]][:3] == [
        ("3", "failure mode"),
        ("3", "reading"),
        ("6", "connection"),
    ]


def test_pounds_that_were_kilograms_are_corrected_and_the_pool_follows(
    shed, as_owner, as_stranger, drain
):
    """Story 7: a corrected version; the old one kept; the pool follows."""
    text = file_of([9.5, 9.9, 9.7, 9.6], [7, 7.2, 6.9])
    first = as_owner.post("/api/v1/sessions", text, content_type="text/csv").json()
    drain()
    before = straight_N(as_stranger)

    fixed = text.replace("(lbf)", "(kg)")
    address = f"{first['session']}/versions?reason=kilograms%20written%20as%20pounds"
    second = as_owner.post(address, fixed, content_type="text/csv")
    drain()

    assert second.status_code == 202
    # 1 kgf is 9.80665 N and 1 lbf 4.4482216152605 N, by definition.
    assert straight_N(as_stranger) == pytest.approx(before * 9.80665 / 4.4482216152605)
    old = as_stranger.get(first["session"]).json()
    assert (old["standing"], old["baselines"][0]["pulls"][0]["reading"]["unit"]) == (
        "replaced",
        "lbf",
    )


def straight_N(reader) -> float:
    """The straight strength under the one set that counts in the one pool there is."""
    (pool,) = reader.get("/api/v1/pools").json()["results"]
    (counted,) = reader.get(f"{pool['url']}/sets").json()["results"]
    return counted["baseline_mean_N"]


def test_a_session_sent_by_phone_twice_is_stored_once(shed, as_owner):
    """An answer lost on the way is asked for again under the same key."""
    text = file_of([21, 22, 21.2, 21.5], [16, 15, 15.5])
    send = {"content_type": "text/csv", "headers": {"Idempotency-Key": "shed, saturday"}}

    answers = [as_owner.post("/api/v1/sessions", text, **send) for _ in range(2)]

    assert json.loads(answers[0].content) == json.loads(answers[1].content)
    assert Session.objects.count() == 1
