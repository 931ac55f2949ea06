"""The open data: what there is, and the files themselves at addresses that stay."""

from __future__ import annotations

import json
from collections.abc import Iterator

from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase, StreamingHttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils.http import parse_etags
from django.utils.safestring import SafeString, mark_safe
from django.views.decorators.http import require_safe

from results.models import Release
from results.open_data import archive as lookups
from results.open_data import trace_files
from results.open_data.companions import dataset, info_of
from results.open_data.kept import ARCHIVE
from results.open_data.tables import TABLES
from results.open_data.trace_columns import TRACES
from results.pages.showing import render
from rigs.licence import SHARED_DATA

RELEASES_PER_PAGE = 20
FOR_GOOD = "public, max-age=31536000, immutable"
TYPES = {
    "R": "text/plain; charset=utf-8",
    "cff": "application/yaml",
    "csv": "text/csv; charset=utf-8; header=present",
    "ipynb": "application/x-ipynb+json",
    "json": "application/json",
    "md": "text/markdown; charset=utf-8",
    "py": "text/plain; charset=utf-8",
    "txt": "text/plain; charset=utf-8",
    "parquet": "application/vnd.apache.parquet",
    "zip": "application/zip",
}


@require_safe
def open_data(request: HttpRequest) -> HttpResponse:
    """What the open data are, under which licence, and every release."""
    page = Paginator(lookups.releases(), RELEASES_PER_PAGE).get_page(request.GET.get("page"))
    newest = lookups.releases().first()
    context = {
        "page": page,
        "newest": newest,
        "tables": TABLES,
        "licence": SHARED_DATA,
        "dataset": newest and _for_search_engines(request, newest),
    }
    return render(request, "pages/reading/open_data.html", context)


def _for_search_engines(request: HttpRequest, newest: Release) -> SafeString:
    """The newest version as schema.org's Dataset in JSON-LD, safe within a script element."""
    address = reverse("pages:open-data-file", args=[newest.number, ARCHIVE])
    document = dataset(
        info_of(newest),
        request.build_absolute_uri(reverse("pages:open-data")),
        request.build_absolute_uri(address),
    )
    return mark_safe(json.dumps(document).replace("<", "\\u003c"))


@require_safe
def release(request: HttpRequest, number: int) -> HttpResponse:
    """One release: its files with their checksums."""
    found = get_object_or_404(lookups.releases(), number=number)
    return render(request, "pages/reading/release.html", {"release": found, "licence": SHARED_DATA})


@require_safe
def latest(_request: HttpRequest, name: str = "") -> HttpResponse:
    """The newest release, or a file of it, at an address that names no version."""
    newest = lookups.releases().first()
    if newest is None or (name and lookups.file_of(newest, name) is None):
        raise Http404
    if name:
        response = redirect("pages:open-data-file", number=newest.number, name=name)
    else:
        response = redirect("pages:open-data-release", number=newest.number)
    response["Cache-Control"] = "no-cache"
    return response


@require_safe
def file(request: HttpRequest, number: int, name: str) -> HttpResponseBase:
    """A file of a release. It never changes, and its ETag is its checksum."""
    found = get_object_or_404(lookups.releases(), number=number)
    file = lookups.file_of(found, name)
    if file is None:
        raise Http404
    saved_as = f"samespool-{found.number}-{name}"
    response = _sent(
        request, file["sha256"], file["bytes"], lookups.pieces_of(found, name), saved_as
    )
    response["Cache-Control"] = FOR_GOOD
    return response


@require_safe
def traces(request: HttpRequest) -> HttpResponse:
    """The archive of traces: its months with their addresses and sums, and what stands in them."""
    context = {
        "months": [(month, trace_files.name_of(month)) for month in trace_files.months()],
        "beside": trace_files.TEXTS,
        "table": TRACES,
        "licence": SHARED_DATA,
    }
    return render(request, "pages/reading/traces.html", context)


@require_safe
def traces_file(request: HttpRequest, name: str) -> HttpResponseBase:
    """A file of the archive of traces. It has another ETag once something is taken out of it."""
    found = trace_files.file_of(name)
    if found is None:
        raise Http404
    response = _sent(request, found.sha256, found.size, found.pieces, f"samespool-{name}")
    response["Cache-Control"] = "no-cache"
    return response


def _sent(
    request: HttpRequest, sha256: str, length: int, pieces: Iterator[bytes], saved_as: str
) -> HttpResponseBase:
    """A file as it is sent, or that the reader has it: its ETag is its checksum."""
    tag = f'"{sha256}"'
    asked = [
        each.removeprefix("W/") for each in parse_etags(request.headers.get("If-None-Match", ""))
    ]
    if tag in asked or asked == ["*"]:
        response: HttpResponseBase = HttpResponse(status=304)
    else:
        sent = iter([b""]) if request.method == "HEAD" else pieces
        response = StreamingHttpResponse(sent, content_type=TYPES[saved_as.rpartition(".")[2]])
        response["Content-Length"] = str(length)
        response["Content-Disposition"] = f'attachment; filename="{saved_as}"'
    response["ETag"] = tag
    return response
