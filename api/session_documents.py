"""Documents of sessions: in short, in full, as received, and as a dry run's preview."""

from __future__ import annotations

from rest_framework import serializers

from api.intervals import Interval
from api.serializers import Choice, Day, Filters, Id, Shown, ShownRow, Strict
from results.models import Baseline, Job, Proposal, Pull, PullSet, Session, WaitingSession


class SessionFilters(Filters):
    """Which sessions; each field's source is its queryset condition."""

    contributor = serializers.CharField(
        source="contributor__handle__iexact", required=False, help_text="the tester's handle"
    )
    rig = Id(source="revision__rig", required=False, min_value=1, help_text="the rig's id")
    since = Day(
        source="pulled_on__gte", required=False, help_text="first day of pulling, as 2026-01-31"
    )
    until = Day(
        source="pulled_on__lte", required=False, help_text="last day of pulling, as 2026-01-31"
    )
    standing = Choice(Session.Standing.choices, required=False)


class SessionInShort(ShownRow):
    """One day at one rig, without its pulls."""

    url = serializers.HyperlinkedIdentityField(view_name="api:session")
    contributor = serializers.CharField(source="contributor.handle")
    rig = serializers.CharField(source="revision.rig.name")
    revision = serializers.IntegerField(source="revision.number")
    replaces: serializers.HyperlinkedRelatedField[Session] = serializers.HyperlinkedRelatedField(
        view_name="api:session", read_only=True, allow_null=True
    )
    replaced_by: serializers.HyperlinkedRelatedField[Session] = serializers.HyperlinkedRelatedField(
        view_name="api:session", read_only=True, default=None, allow_null=True
    )
    baseline_count = serializers.IntegerField()
    pull_set_count = serializers.IntegerField()
    pull_count = serializers.IntegerField(help_text="voids included")
    discarded_count = serializers.IntegerField(help_text="ties discarded before pulling")

    class Meta:
        model = Session
        fields = [
            "id",
            "url",
            "contributor",
            "rig",
            "revision",
            "pulled_on",
            "state",
            "loading",
            "unit",
            "temperature_C",
            "soak_hours",
            "note",
            "version",
            "standing",
            "standing_reason",
            "replaces",
            "replaced_by",
            "received_at",
            "baseline_count",
            "pull_set_count",
            "pull_count",
            "discarded_count",
        ]


class PulledReading(Shown):
    """A reading as its tester wrote it, and in newtons; N is null where it was lost."""

    written = serializers.CharField(source="reading_written")
    unit = serializers.CharField()
    N = serializers.FloatField(source="reading_N", allow_null=True)


class OnePull(ShownRow):
    """One pull, in the order in which it was pulled."""

    reading = PulledReading(source="*")

    class Meta:
        model = Pull
        fields = [
            "number",
            "reading",
            "failure_mode",
            "place",
            "slipped_first",
            "time_to_break_s",
            "note",
        ]


class SessionBaseline(ShownRow):
    """Straight-line pulls of one line from one spool."""

    line = serializers.CharField(source="line.name")
    pulls = OnePull(many=True)

    class Meta:
        model = Baseline
        fields = ["line", "spool", "position", "pulls"]


class EfficiencyOfSet(Shown):
    """A set's figures against its own baseline."""

    efficiency = serializers.FloatField()
    interval = Interval()


class SessionPullSet(ShownRow):
    """Pulls of one join, with the efficiency they came to once the job is done."""

    url = serializers.HyperlinkedIdentityField(view_name="api:pull-set")
    connection = serializers.CharField(source="connection.name")
    main_line = serializers.CharField(source="main_line.name")
    leader_line = serializers.CharField(source="leader_line.name", default=None, allow_null=True)
    figures = EfficiencyOfSet(source="normalised", default=None, allow_null=True)
    pulls = OnePull(many=True)

    class Meta:
        model = PullSet
        fields = [
            "id",
            "url",
            "label",
            "connection",
            "doubled",
            "main_line",
            "main_spool",
            "leader_line",
            "leader_spool",
            "terminal",
            "parameters",
            "tyer",
            "discarded_ties",
            "time_to_tie_s",
            "join_diameter_m",
            "note",
            "state",
            "not_normalised",
            "figures",
            "pulls",
        ]


class JobNamed(ShownRow):
    """A job: the progress of processing a session."""

    url = serializers.HyperlinkedIdentityField(view_name="api:job")

    class Meta:
        model = Job
        fields = ["id", "state", "url"]


class SessionInFull(SessionInShort):
    """A session with every pull, voids included."""

    baselines = SessionBaseline(many=True)
    pull_sets = SessionPullSet(many=True)
    jobs = JobNamed(many=True)

    class Meta(SessionInShort.Meta):
        fields = [*SessionInShort.Meta.fields, "baselines", "pull_sets", "jobs"]


class FindingDocument(Shown):
    """A warning: the row or place, the field, found and expected."""

    row = serializers.CharField()
    field = serializers.CharField()
    found = serializers.CharField()
    expected = serializers.CharField()


class ReceiptDocument(Shown):
    """What became of an upload: the session as stored, and the job that works it out."""

    session: serializers.HyperlinkedRelatedField[Session] = serializers.HyperlinkedRelatedField(
        view_name="api:session", read_only=True
    )
    job = JobNamed()
    warnings = FindingDocument(many=True)


class SetPreviewDocument(Shown):
    """A set as it would come out; ``why_not`` where there would be no efficiency."""

    label = serializers.CharField()  # type: ignore[assignment]  # DRF takes fields off the class
    connection = serializers.CharField()
    lines = serializers.CharField()
    pulls = serializers.IntegerField()
    failure_modes = serializers.DictField(child=serializers.IntegerField())
    reference = serializers.CharField()
    efficiency = serializers.FloatField(allow_null=True)
    interval = Interval()
    why_not = serializers.CharField()
    notes = serializers.ListField(child=serializers.CharField())


class PreviewDocument(Shown):
    """The result of a dry run; nothing was stored."""

    rig = serializers.CharField()
    revision = serializers.IntegerField()
    baseline_count = serializers.IntegerField(source="baselines")
    pull_set_count = serializers.IntegerField(source="pull_sets")
    baselines = serializers.IntegerField()
    pull_sets = serializers.IntegerField()
    pulls = serializers.IntegerField()
    sets = SetPreviewDocument(many=True)
    warnings = FindingDocument(many=True)
    read_as = serializers.ListField(
        child=serializers.CharField(),
        help_text="what was read: a line for each straight line and each set, with the day, the "
        "state, the unit and the first readings as they would be stored",
    )
    sealed_until_the_close_of = serializers.IntegerField(
        allow_null=True,
        help_text="the id of the round whose codes the session goes by; else null",
    )


class ProposalDocument(ShownRow):
    """A name that a session needs of the catalogue, and what a moderator made of it."""

    connection = serializers.CharField(source="connection.name", default=None, allow_null=True)

    class Meta:
        model = Proposal
        fields = ["kind", "name", "connection", "note", "state", "answer"]


class WaitingSessionDocument(ShownRow):
    """A session that waits for the catalogue; ``session`` is what it became."""

    page = serializers.HyperlinkedIdentityField(
        view_name="pages:waiting-session",
        lookup_field="pk",
        lookup_url_kwarg="key",
        help_text="where its sender reads of it",
    )
    proposals = ProposalDocument(many=True)
    session: serializers.HyperlinkedRelatedField[Session] = serializers.HyperlinkedRelatedField(
        view_name="api:session", read_only=True, allow_null=True
    )
    replaces: serializers.HyperlinkedRelatedField[Session] = serializers.HyperlinkedRelatedField(
        view_name="api:session",
        read_only=True,
        allow_null=True,
        help_text="the session that it corrects",
    )

    class Meta:
        model = WaitingSession
        fields = [
            *("key", "page", "state", "problem", "proposals", "session"),
            *("replaces", "reason", "created_at"),
        ]


class WithdrawalDocument(Strict):
    """Why a session is taken out of every figure."""

    reason = serializers.CharField(max_length=1000)
