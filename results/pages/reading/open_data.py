"""The open data: what there is, and the files themselves at addresses that stay."""

from __future__ import annotations

import json

from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase, StreamingHttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils.http import parse_etags
from django.utils.safestring import SafeString, mark_safe
from django.views.decorators.http import require_safe

from results.models import Release
from results.open_data import archive as lookups
from results.open_data.companions import dataset, info_of
from results.open_data.releases import ARCHIVE
from results.open_data.tables import TABLES
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
    tag = f'"{file["sha256"]}"'
    asked = [
        each.removeprefix("W/") for each in parse_etags(request.headers.get("If-None-Match", ""))
    ]
    if tag in asked or asked == ["*"]:
        response: HttpResponseBase = HttpResponse(status=304)
    else:
        response = _sent(found, name, file["bytes"], request.method == "HEAD")
    response["ETag"], response["Cache-Control"] = tag, FOR_GOOD
    return response


def _sent(release: Release, name: str, length: int, head: bool) -> HttpResponseBase:
    content_type = TYPES[name.rpartition(".")[2]]
    pieces = iter([b""]) if head else lookups.pieces_of(release, name)
    response = StreamingHttpResponse(pieces, content_type=content_type)
    response["Content-Length"] = str(length)
    response["Content-Disposition"] = f'attachment; filename="samespool-{release.number}-{name}"'
    return response
