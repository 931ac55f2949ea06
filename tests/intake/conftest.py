"""A bench for uploads: one rig, three lines, three joins, and a session that is right."""

import copy
import json

import pytest

from results.intake import receive
from results.models import Connection, ConnectionAlias, Session, TieParameter, Upload
from rigs.models import Material
from rigs.refusals import Invalid
from tests import making

RIGHT = {
    "rig": "shed winch",
    "revision": 1,
    "pulled_on": "2026-01-10",
    "state": "dry",
    "loading": "static",
    "unit": "lbf",
    "baselines": [
        {
            "line": "thin",
            "spool": "A",
            "position": "before",
            "pulls": [
                {"reading": 20.5, "failure_mode": "line"},
                {"reading": 21.0, "failure_mode": "line"},
                {"reading": 20.2, "failure_mode": "line"},
                {"reading": 19.1, "failure_mode": "grip"},
            ],
        }
    ],
    "pull_sets": [
        {
            "label": "set 1",
            "connection": "Double uni",
            "doubled": False,
            "main": {"line": "thin", "spool": "A"},
            "leader": {"line": "thick", "spool": "B"},
            "terminal": "",
            "parameters": {"turns_main": 6},
            "discarded_ties": 1,
            "pulls": [
                {"reading": 15.2, "failure_mode": "join"},
                {"reading": 16.0, "failure_mode": "join"},
                {"reading": "15,5", "failure_mode": "slip"},
                {"failure_mode": "void", "note": "grip slipped"},
            ],
        }
    ],
}

HEADER = (
    "rig,revision,date,state,loading,unit,kind,label,connection,doubled,main line,main spool,"
    "leader line,leader spool,terminal,parameters,tyer,discarded ties,position,reading,"
    "failure mode,place"
)
ROWS = [
    "shed winch,1,2026-01-10,dry,static,lbf,straight,,,,thin,A,,,,,,,before,20.5,line,",
    ",,,,,,straight,,,,thin,A,,,,,,,before,21.0,line,",
    ",,,,,,straight,,,,thin,A,,,,,,,before,20.2,line,",
    ",,,,,,straight,,,,thin,A,,,,,,,before,19.1,grip,",
    ",,,,,,joined,set 1,Double uni,no,thin,A,thick,B,,turns main=6,,1,,15.2,join,",
    ",,,,,,joined,set 1,Double uni,no,thin,A,thick,B,,turns main=6,,1,,16,join,",
    ",,,,,,joined,set 1,,,,,,,,,,,,15.5,slip,",
    ",,,,,,joined,set 1,,,,,,,,,,,,,void,",
]


@pytest.fixture
def bench(owner):
    """The rig, the lines and the joins that ``RIGHT`` speaks of."""
    revision = making.revision_of(owner)
    revision.capacity_N, revision.capacity_written = 300, "300 N"
    revision.save()
    making.line("thin")
    making.line("thick", label_N=180)
    making.line("braid", material=Material.BRAIDED_POLYETHYLENE, label_N=60)
    double_uni = making.connection("Double uni")
    ConnectionAlias.objects.create(connection=double_uni, name="Uni to uni")
    for name, kind, least, most in [
        ("turns_main", TieParameter.Type.INTEGER, 1, 20),
        ("turns_leader", TieParameter.Type.INTEGER, 1, 20),
        ("setting_force", TieParameter.Type.NUMBER, 0, 100),
    ]:
        TieParameter.objects.create(
            connection=double_uni, name=name, type=kind, lowest=least, highest=most
        )
    TieParameter.objects.create(connection=double_uni, name="glued", type=TieParameter.Type.YES_NO)
    TieParameter.objects.create(
        connection=double_uni,
        name="wetted_with",
        type=TieParameter.Type.CHOICE,
        choices=["nothing", "water", "saliva"],
    )
    Connection.objects.create(name="Palomar", kind=Connection.Kind.LINE_TO_TERMINAL, accepted=True)
    return revision


@pytest.fixture
def right(bench) -> dict:
    """A copy of the session that is right, to spoil."""
    return copy.deepcopy(RIGHT)


@pytest.fixture
def send(owner, bench):
    """Send a document, a CSV text or bytes as the owner."""

    def send(sent, form=None, key=None, by=owner, **options):
        if isinstance(sent, dict):
            return receive(by, json.dumps(sent).encode(), "application/json", key, **options)
        if isinstance(sent, str):
            return receive(by, sent.encode(), form or "text/csv", key, **options)
        return receive(by, sent, form or "application/json", key, **options)

    return send


@pytest.fixture
def refused(send):
    """What is said of an upload that is wrong: (row, field, found, expected) of each finding."""

    def refused(sent, kind=Invalid, **options):
        with pytest.raises(kind) as error:
            send(sent, **options)
        assert not Session.objects.exists()
        assert not Upload.objects.exists()
        return [(each.row, each.field, each.found, each.expected) for each in error.value.findings]

    return refused


def without(column: str, text: str) -> str:
    """The same sheet with one column less."""
    rows = [line.split(",") for line in text.splitlines()]
    gone = rows[0].index(column)
    return "\n".join(",".join(row[:gone] + row[gone + 1 :]) for row in rows)


def sheet(*rows: str, header: str = HEADER) -> str:
    """A CSV file of these rows, or of the session that is right."""
    return "\n".join([header, *(rows or ROWS)]) + "\n"
