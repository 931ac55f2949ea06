"""Every variable that the service reads is explained to whoever runs it, and no other is."""

import ast
import re
from collections.abc import Iterator

from django.conf import settings

from tests.deploy.files import ROOT

PRODUCT = ("api", "deploy", "results", "rigs")
READING = ("env", "environ")
# Asked for by the composition and the proxy, which hand them on under other names.
OF_THE_COMPOSITION = {
    *("SAMESPOOL_DOMAIN", "SAMESPOOL_DATABASE_PASSWORD", "SAMESPOOL_UPSTREAMS"),
    "SAMESPOOL_BACKUP_PASSPHRASE",
}
OURS = r"(?:SAMESPOOL|DATABASE|REDIS|PROMETHEUS)_[A-Z_]+"
NAME = re.compile(rf"`({OURS})(?:=\w+)?`")


def read_by_python() -> Iterator[str]:
    """All but what the strikes of the fault bench hand to the processes that they start."""
    for part in PRODUCT:
        for path in (ROOT / part).rglob("*.py"):
            if path.is_relative_to(ROOT / "deploy" / "benchmarks"):
                continue
            for node in ast.walk(ast.parse(path.read_text())):
                yield from _asked_for(node)


def _asked_for(node: ast.AST) -> Iterator[str]:
    """Names in ``env.str("NAME")``, ``os.environ.get("NAME")``, ``os.environ["NAME"]``, ``in``."""
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
        holder, names = node.func.value, node.args[:1]
    elif isinstance(node, ast.Subscript):
        holder, names = node.value, [node.slice]
    elif isinstance(node, ast.Compare):
        holder, names = node.comparators[0], [node.left]
    else:
        return
    name = holder.attr if isinstance(holder, ast.Attribute) else getattr(holder, "id", "")
    if name in READING:
        for each in names:
            if isinstance(each, ast.Constant) and re.fullmatch(OURS, str(each.value)):
                yield each.value


def explained() -> set[str]:
    table = (ROOT / "deploy/running.md").read_text() + (ROOT / "deploy/operations.md").read_text()
    return set(NAME.findall(table))


def test_every_variable_that_is_read_is_explained_and_no_other():
    read = set(read_by_python())
    assert {"SAMESPOOL_TWO_FACTOR", "DATABASE_URL", "PROMETHEUS_MULTIPROC_DIR"} <= read
    assert explained() == read | OF_THE_COMPOSITION


def test_what_the_units_and_the_composition_set_is_read():
    text = "".join(
        (ROOT / "deploy" / name).read_text()
        for name in (
            "compose.yaml",
            "systemd/environment.example",
            "systemd/samespool-web@.service",
        )
    )
    named = set(re.findall(r"\bSAMESPOOL_[A-Z_]+", text))
    assert named <= set(read_by_python()) | OF_THE_COMPOSITION


def test_signing_up_is_open_where_no_one_said_otherwise():
    assert settings.SAMESPOOL_SIGN_UP == "open"
