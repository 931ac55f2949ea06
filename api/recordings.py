"""Recordings: a logger's file in, its pulls out, ready for a session's document. Nothing stored."""

from __future__ import annotations

from typing import Any

from django.urls import path
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiExample, extend_schema, extend_schema_field
from rest_framework import serializers, status
from rest_framework.exceptions import UnsupportedMediaType
from rest_framework.permissions import IsAuthenticated
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.serializers import Filters, Shown
from api.session_documents import FindingDocument
from api.traces import HoldDocument, SlipDocument
from results.intake.reading import JSON
from results.intake.recording_rows import FORMS, TEXTS
from results.intake.recordings import Answers, Recording, read_recording
from rigs.locks import refuse_uploads_of
from rigs.permissions import contributor_of

EXAMPLE = "Time [s];Force [N]\r\n" + "".join(
    f"{at / 2:.1f};{force}\r\n" for at, force in enumerate((0, 0, 0, 16, 33, 49, 66, 0, 0, 0))
)
EXAMPLES = [
    *(
        OpenApiExample(f"A logger's file as {form}", EXAMPLE, request_only=True, media_type=form)
        for form in TEXTS
    ),
    OpenApiExample(
        "The same as JSON",
        {"unit": "N", "time_s": [0, 0.5, 1, 1.5, 2], "force": [0, 0, 33, 66, 0]},
        request_only=True,
        media_type=JSON,
    ),
]


class AnswersDocument(Filters):
    """What its sender knows of a recording; what is not given is recognised, or asked for."""

    time_column = serializers.IntegerField(required=False, help_text="column of times, from 1")
    force_column = serializers.IntegerField(required=False, help_text="column of forces, from 1")
    unit = serializers.CharField(required=False, max_length=10, help_text="of the forces")
    clock = serializers.CharField(
        required=False, max_length=10, help_text="of the times: s, ms, us, samples or stamps"
    )
    sample_rate_Hz = serializers.FloatField(
        required=False, help_text="samples a second, where they are only counted"
    )
    separator = serializers.CharField(
        required=False, max_length=2, trim_whitespace=False, help_text="between columns"
    )
    decimal = serializers.CharField(
        required=False, max_length=1, help_text="point or comma of a decimal"
    )
    capacity_N = serializers.FloatField(
        required=False, min_value=0, help_text="of the rig, in newtons: above it a top is flat"
    )


class RecordedFiguresDocument(Shown):
    """What follows from one pull; newtons are as recorded, before any calibration."""

    peak_N = serializers.FloatField()
    loading_rate_N_per_s = serializers.FloatField()
    time_to_break_s = serializers.FloatField()
    slips = SlipDocument(many=True)
    hold = HoldDocument(allow_null=True)
    stiffening = serializers.FloatField(allow_null=True)
    zero_before_N = serializers.FloatField(allow_null=True)
    zero_after_N = serializers.FloatField(allow_null=True)
    u_zero_N = serializers.FloatField(allow_null=True)
    missed_peak_N = serializers.FloatField()
    u_missed_peak_N = serializers.FloatField()
    noise_excess_N = serializers.FloatField()


class RecordedTraceDocument(Shown):
    """The member ``trace`` of a pull in a session's document."""

    unit = serializers.CharField()
    time_s = serializers.ListField(child=serializers.FloatField())
    force = serializers.ListField(child=serializers.FloatField())
    started_at = serializers.DateTimeField(required=False)


class RecordedPullDocument(Shown):
    """One pull that was found: its samples by their numbers in the file, figures and trace."""

    first = serializers.IntegerField(help_text="its first sample, from 0")
    last = serializers.IntegerField(help_text="the sample after its last one")
    peak = serializers.IntegerField(help_text="its highest sample")
    figures = RecordedFiguresDocument(allow_null=True)
    trace = RecordedTraceDocument()


class FaultDocument(Shown):
    """What is wrong at a sample; ``pull`` counts from 0, null where it is between pulls."""

    code = serializers.CharField()
    at_s = serializers.FloatField(help_text="second of the recording")
    index = serializers.IntegerField(help_text="sample of the recording, from 0")
    pull = serializers.IntegerField(allow_null=True, help_text="the pull it is in, from 0")
    numbers = serializers.DictField(child=serializers.FloatField())


class RecordingDocument(Shown):
    """A recording as it was read, with its pulls and its faults."""

    unit = serializers.CharField()
    step = serializers.FloatField(help_text="that its forces are written in, in the unit")
    samples = serializers.IntegerField(source="force.size", help_text="number of samples")
    pulls = serializers.SerializerMethodField()
    faults = FaultDocument(many=True, source="cut.faults")
    remarks = FindingDocument(many=True)

    @extend_schema_field(RecordedPullDocument(many=True))
    def get_pulls(self, recording: Recording) -> list[dict[str, Any]]:
        rows = [
            {
                "first": part.first,
                "last": part.last,
                "peak": part.peak,
                "figures": figures,
                "trace": recording.trace_of(part),
            }
            for part, figures in zip(recording.cut.pulls, recording.figures, strict=True)
        ]
        return list(RecordedPullDocument(rows, many=True).data)


class Recordings(APIView):
    """Reading a recording."""

    permission_classes = [IsAuthenticated]

    @extend_schema(
        tags=["sessions"],
        operation_id="recordings_read",
        parameters=[AnswersDocument],
        request={**dict.fromkeys(FORMS, OpenApiTypes.BINARY), JSON: OpenApiTypes.OBJECT},
        responses={200: RecordingDocument},
        examples=EXAMPLES,
    )
    def post(self, request: Request) -> Response:
        """Cut a logger's file into pulls, with the trace of each for a session. Nothing is stored.

        What can't be recognised is asked for: 422, and each finding's ``field`` names the answer to
        give as a parameter with the same file.
        """
        refuse_uploads_of(contributor_of(request.user))
        form = request.content_type.partition(";")[0].strip().lower()
        if form not in FORMS:
            raise UnsupportedMediaType(form, f"A recording is sent as one of {', '.join(FORMS)}.")
        answers = Answers(**AnswersDocument.conditions(request))
        recording = read_recording(request.body, form, answers)
        return Response(RecordingDocument(recording).data, status.HTTP_200_OK)


urlpatterns = [path("recordings", Recordings.as_view(), name="recordings")]
