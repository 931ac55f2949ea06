"""A pool's figures are declared once; what is stored, read, shown and documented is just that."""

import ast
import gzip
import html
import json
import re
from collections.abc import Iterator
from dataclasses import fields
from pathlib import Path

import pytest
from django.db import models

from deploy.tools.openapi.release import document
from results.models import Pool, PoolVersion
from results.models.declared import DECLARED, Form, Kept, Kind, figure_at, kept_in, names
from results.open_data.pooled import KEY, POOLS
from results.pages.figures import FORMS, Written
from results.pages.pools import words
from results.pools.figures import Undeclared, figures_of, findings_of
from results.pools.snapshots import FORMULAE, MOVED, Behind
from results.statistics import pooling
from results.statistics.leave_one_out import LeaveOneOut
from tests.api.leagues import league_of

ROOT = Path(__file__).parents[2]
OF_THE_WORK = {
    "id", "pool", "number", "computed_at", "woken_at", "why", "figures", "findings", "snapshot",
    "inputs", "forest_light", "forest_dark", "attempts", "excused",
}  # fmt: skip
"""Columns of a version that are no figures: its own record, and what holds figures in JSON."""
BY_TESTER = {"tester_effects": pooling.TesterEffects, "leave_one_out": LeaveOneOut}
RAW = re.compile(r"(?:version|current)\.(?:figures|findings)(?:\[|\.get\b|\.items\b)")
READS_RAW = {"results/pools/figures.py"}


@pytest.fixture
def version(db) -> PoolVersion:
    league_of({"Blood": 80.0}, testers=4)
    return Pool.objects.get().current


def members(figures: dict) -> set[str]:
    """Names of what a schema tells, each of which has to be explained."""
    assert [name for name, told in figures.items() if not told.get("description")] == []
    return set(figures)


def test_every_column_of_a_version_is_declared_and_explained_or_no_figure():
    columns = {field.name: field for field in PoolVersion._meta.concrete_fields}
    assert set(columns) == OF_THE_WORK | set(names(Kept.COLUMN))
    for figure in kept_in(Kept.COLUMN):
        for name, said in figure.described.items():
            assert columns[name].help_text == said
            assert isinstance(columns[name], models.IntegerField) == (figure.kind is Kind.WHOLE)


def test_what_pooling_computes_is_what_is_declared():
    optional = {figure.name for figure in kept_in(Kept.FIGURES) if not figure.always}
    assert {field.name for field in fields(pooling.Pooled)} == {*names(Kept.FIGURES), *optional}
    by_tester = {f.name: f.members for f in kept_in(Kept.FIGURES) if f.kind is Kind.BY_TESTER}
    assert set(by_tester) == set(BY_TESTER)
    for name, computed in BY_TESTER.items():
        assert list(by_tester[name]) == [field.name for field in fields(computed)]


def test_what_a_version_stores_is_what_is_declared(version):
    assert set(version.figures) == set(names(Kept.FIGURES))
    assert set(version.findings) == set(names(Kept.FINDINGS))
    for figure in kept_in(Kept.FIGURES):
        told = [version.figures[name] for name in figure.names if name in version.figures]
        kinds = {Kind.PAIR: list, Kind.LIST: list, Kind.BY_TESTER: dict, Kind.WHOLE: int}
        assert all(isinstance(one, kinds.get(figure.kind, float | int)) for one in told), figure


def test_a_figure_that_is_not_declared_is_not_read(version):
    for reader in (figures_of(version), findings_of(version)):
        for read in (reader.__getitem__, reader.get, reader.has):
            with pytest.raises(Undeclared, match="is declared as 'median'"):
                read("median")


def reads(tree: ast.AST) -> Iterator[tuple[Kept, str]]:
    """What a module reads by a name of figures or findings, and where that is kept."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Subscript):
            source, names_read = node.value, [node.slice]
        elif isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
            if node.func.attr not in ("get", "has"):
                continue
            source, names_read = (
                node.func.value,
                node.args[: 1 if node.func.attr == "get" else None],
            )
        else:
            continue
        named = source.func if isinstance(source, ast.Call) else source
        kept = getattr(named, "id", "").removesuffix("_of")
        for name in names_read:
            if kept in set(Kept) and isinstance(name, ast.Constant) and isinstance(name.value, str):
                yield Kept(kept), name.value


def test_no_module_reads_a_figure_that_is_not_declared():
    """Also where its failure would only be logged, as in drawing."""
    found = set()
    for source in (*ROOT.glob("results/**/*.py"), *ROOT.glob("api/**/*.py")):
        text = source.read_text()
        if re.search(r"import .*\b(?:figures|findings)_of\b", text):
            found |= set(reads(ast.parse(text)))
    assert {(Kept.FIGURES, "ci_low"), (Kept.FINDINGS, "pulls")} <= found
    known = {(each.kept, name) for each in DECLARED for name in each.names}
    assert found - known == set()


def test_no_module_reads_figures_but_by_their_reader():
    for source in (*ROOT.glob("results/**/*.py"), *ROOT.glob("api/**/*.py")):
        name = str(source.relative_to(ROOT))
        assert name in READS_RAW or RAW.findall(source.read_text()) == [], name


def test_no_page_names_what_is_not_declared():
    """A template shows nothing where a name is wrong, and says so to nobody."""
    found = {"columns": set(), "findings": set(), "labels": set()}
    for page in ROOT.glob("results/**/templates/**/*.html"):
        text = page.read_text()
        found["findings"] |= set(re.findall(r"\bfindings\.(\w+)", text))
        found["columns"] |= set(re.findall(r"\b(?:version|current|past)\.([a-z]\w*)", text))
        found["columns"] |= set(re.findall(r'\|figure:"(\w+)"', text))
        found["labels"] |= set(re.findall(r'{% label "([\w.]+)" %}', text))
    assert found["findings"] <= set(names(Kept.FINDINGS))
    of_version = {*OF_THE_WORK, *names(Kept.COLUMN), "pk", "added", "removed", "html"}
    assert found["columns"] <= of_version | {"superseded", "taken_down_at"}
    assert [path for path in found["labels"] if not figure_at(path).label] == []


def test_every_sentence_names_declared_figures_and_is_explained(version, client):
    about = client.get("/about/").content.decode()
    anchors = set(re.findall(r' id="([\w-]+)"', about))
    assert {figure.anchor for figure in DECLARED if figure.anchor} <= anchors
    for figure in words.said():
        assert figure.anchor, figure.path
        assert (figure.says is None) == (figure.path in words.IN_OTHER_WORDS), figure.path
        told = f"{figure.says.words}{figure.says.statistic}" if figure.says else ""
        for name in re.findall(r"%\((\w+)\)", told):
            assert Written(version)[name], name
    for figure in kept_in(Kept.FIGURES):
        if figure.form and figure.kind is Kind.NUMBER:
            assert Written(version)[figure.name], figure.path
    for figure in DECLARED:
        if figure.explained:
            assert f'<dt id="{figure.anchor}">{figure.label}</dt>' in about
    assert set(FORMS) == set(Form)


def test_every_part_that_may_be_missing_is_one_that_pages_name():
    assert {figure.part for figure in DECLARED if figure.part} == set(words.PARTS)


def test_the_api_says_and_explains_every_declared_figure_and_no_other():
    schemas = document()["components"]["schemas"]
    columns = {figure.name: figure for figure in kept_in(Kept.COLUMN)}
    told = schemas["VersionDocument"]["properties"]
    own = {"number", "computed_at", "snapshot", "superseded"}
    assert members({name: one for name, one in told.items() if name not in own}) == set(columns)
    assert {told[name]["description"] for name in columns} == {
        f"{figure.description}. {figure.method}" for figure in columns.values()
    }
    one_pool = schemas["OnePoolDocument"]["properties"]
    every = {name for figure in kept_in(Kept.FIGURES) for name in figure.names}
    assert members(one_pool["figures"]["properties"]) == every - set(BY_TESTER)
    assert members(one_pool["findings"]["properties"]) == set(names(Kept.FINDINGS))
    effects = schemas["TesterEffectDocument"]["properties"]
    without = schemas["WithoutTesterDocument"]["properties"]
    assert members({name: effects[name] for name in set(effects) - {"tester", "without"}}) == {
        *figure_at("figures.tester_effects").members
    } - {"tester"}
    assert members(without) == {*figure_at("figures.leave_one_out").members} - {"tester"}


def test_the_open_data_hold_and_explain_every_figure_that_is_declared_for_them():
    told = {column.name: column.description for column in POOLS.columns}
    own = {"pool", "version", "snapshot", "computed_at", *KEY, "sets_not_here"}
    described = [figure.described for figure in DECLARED if figure.in_open_data]
    assert {name: said for name, said in told.items() if name not in own} == {
        name: said for each in described for name, said in each.items()
    }


def test_what_the_formulae_moved_and_since_when_a_figure_is_there_are_of_this_code():
    paths = [
        f"{each.path.removesuffix(each.name)}{name}" for each in DECLARED for name in each.names
    ]
    for pattern in (each for moved in MOVED.values() for one in moved for each in one.figures):
        stem = re.escape(".".join(pattern.split(".")[:2]))
        stem = stem.replace(r"\*", ".*")
        assert any(re.fullmatch(stem, path) for path in paths), pattern
    assert {figure.since for figure in DECLARED} <= set(range(1, FORMULAE + 1))
    where = {one.where for moved in MOVED.values() for one in moved if one.where}
    assert where == {name for name in vars(Behind) if name.startswith(("has_", "lacks_"))}


def test_every_figure_says_its_method_in_one_sentence_and_so_do_the_api_and_its_pools_page(
    version, client
):
    said = json.dumps(document())
    page = client.get(f"/pools/{version.pool_id}/").content.decode()
    by_name = html.unescape(page[page.index("How each figure is computed") :])
    told = dict(re.findall(r"<dt>([^<]+)</dt><dd class=\"method\">(.+?)</dd>", by_name))
    for figure in DECLARED:
        method = str(figure.method)
        assert re.fullmatch(r"[A-Z][^.]+(?:\.\d[^.]*)*\.", method), figure.path
        if figure.name not in BY_TESTER:
            assert method in said, figure.path
        assert f'<code translate="no">{figure.path}</code>' in told[method], figure.path
    for figure in words.said():
        statistics = html.unescape(page[page.index('class="statements"') :])
        assert f'<dd class="method">{figure.method}</dd>' in statistics, figure.path
    assert len(gzip.compress(page.encode())) < 80_000
