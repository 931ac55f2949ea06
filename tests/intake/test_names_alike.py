"""Two things whose names are written alike are told apart by the exact name, or not at all."""

import pytest

from results.intake.catalogue import Named
from results.models import Session
from rigs.refusals import Invalid
from tests import making

ALIKE = [("Veyra Mono 3", 1), ("Veyra Mono3", 2), ("Quill", 3)]


@pytest.mark.parametrize(
    ("written", "meant"),
    [
        ("Veyra Mono 3", 1),
        ("veyra mono3", 2),
        ("VEYRAMONO 3", None),
        ("q uill", 3),
        ("Quilt", None),
    ],
)
def test_a_name_means_what_is_called_exactly_so_or_the_only_one_like_it(written, meant):
    assert Named(ALIKE).find(written) == meant


def test_a_session_goes_to_the_rig_of_its_name_and_to_none_that_is_written_alike(
    send, right, owner
):
    rig, alike = right["rig"], right["rig"].replace(" ", "")
    assert rig != alike
    other = making.revision_of(owner, name=alike)
    send(right)
    assert Session.objects.get().revision.rig.name == rig
    send(right | {"rig": alike, "pulled_on": "2026-01-12"})
    assert Session.objects.latest("pk").revision == other
    with pytest.raises(Invalid) as refusal:
        send(right | {"rig": rig.replace(" ", "  "), "pulled_on": "2026-01-13"})
    [finding] = [finding for finding in refusal.value.findings if finding.field == "rig"]
    assert rig in finding.expected
