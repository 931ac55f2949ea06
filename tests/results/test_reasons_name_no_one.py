"""Sentences kept by an earlier release named testers; the migration leaves numbers alone."""

from importlib import import_module

import pytest

by_number = import_module("results.migrations.0015_reasons_name_no_one").by_number

KEPT = [
    ("session 12 of sandgrain was added", "session 12 was added"),
    ("session 12 of was added was withdrawn", "session 12 was withdrawn"),
    ("session 3 of a b was worked out again", "session 3 was worked out again"),
    (
        "decision 5 on set 12: release, Photos, and more.\nOf Hilda.",
        "decision 5 on set 12: release",
    ),
    ("set 4 lost its baseline", "set 4 lost its baseline"),
    ("session 12 was added", "session 12 was added"),
]


@pytest.mark.parametrize(("earlier", "now"), KEPT)
def test_a_sentence_names_numbers_alone(earlier, now):
    assert by_number(earlier) == now
