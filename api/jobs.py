"""Jobs: the progress of processing a session."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.reverse import reverse

from api.one_row import OneRow
from api.serializers import Link, Shown, ShownRow
from results.jobs.selectors import jobs_ahead, jobs_with_counts
from results.models import Job, Pool
from results.public.rows import public_pools, sessions_for

UNFINISHED = (Job.State.QUEUED, Job.State.RUNNING)
ASK_AGAIN_AFTER_S = 1


JOB_PROBLEM = {
    "type": ["object", "null"],
    "description": "why it failed, or the last try did: problem details (RFC 9457)",
    "required": ["type", "title", "status", "detail"],
    "properties": {
        "type": {"type": "string", "format": "uri-reference"},
        "title": {"type": "string"},
        "status": {"type": "integer", "description": "an HTTP status"},
        "detail": {"type": "string"},
    },
}


class CountsDocument(Shown):
    """The sets of the session, by how far they are."""

    sets = serializers.IntegerField()
    normalised = serializers.IntegerField(help_text="have an efficiency")
    counting = serializers.IntegerField(help_text="count, or are about to, in a pool")
    held = serializers.IntegerField(help_text="wait for a moderator")
    without_figure = serializers.IntegerField(help_text="have no efficiency; each set says why")


class JobDocument(ShownRow):
    """A job, its session and the pools of that session's sets."""

    url = serializers.HyperlinkedIdentityField(view_name="api:job")
    session = Link("api:session")
    ahead = serializers.SerializerMethodField(
        help_text="jobs that wait before this one; nothing once it is taken up"
    )
    counts = CountsDocument(source="*")
    problem = serializers.SerializerMethodField()
    pools = serializers.SerializerMethodField()

    class Meta:
        model = Job
        fields = [
            "id",
            "url",
            "state",
            "step",
            "ahead",
            "counts",
            "attempts",
            "problem",
            "created_at",
            "started_at",
            "finished_at",
            "session",
            "pools",
        ]

    def get_ahead(self, job: Job) -> int | None:
        return jobs_ahead(job)

    @extend_schema_field(JOB_PROBLEM)
    def get_problem(self, job: Job) -> dict[str, Any] | None:
        problem: dict[str, Any] | None = job.problem
        return problem

    def get_pools(self, job: Job) -> list[str]:
        pools = Pool.objects.filter(
            public_pools(), normalised_sets__pull_set__session=job.session_id
        ).distinct()
        request = self.context["request"]
        return [reverse("api:pool", [pool.pk], request=request) for pool in pools.order_by("pk")]


@extend_schema(tags=["sessions"])
class OneJob(OneRow[Job]):
    """One job. While it is unfinished, 'Retry-After' says when to ask again."""

    serializer_class = JobDocument
    queryset = Job.objects.none()

    def get_queryset(self) -> QuerySet[Job]:
        return jobs_with_counts().filter(sessions_for(self.request.user, "session__"))

    def retrieve(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        response = super().retrieve(request, *args, **kwargs)
        if response.data["state"] in UNFINISHED:
            response["Retry-After"] = str(ASK_AGAIN_AFTER_S)
        return response
