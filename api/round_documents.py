"""Documents of rounds: what is sent to set one up, and what each reader sees of it."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from api.serializers import Choice, Day, Id, Shown, ShownRow, Strict
from results.models import LotPull, Round, RoundReport, RoundSample, SealedSession, Session
from results.public.seeing import raw
from results.rounds.codes import readable
from results.rounds.drafts import (
    LONGEST_SPECIFICATION,
    LONGEST_TITLE,
    MOST_CODES,
    MOST_SAMPLES,
    MOST_TIES,
    SIGMA_RELATIVE,
)
from results.rounds.lot_pulls import MOST_OF_A_PIECE, MOST_PIECES
from results.rounds.reporting import handles_of, public_changes, public_part


class LotSent(Strict):
    """A spool that samples are made from, by the number of its line."""

    line = Id()
    spool = serializers.CharField(max_length=60)


class SampleSent(Strict):
    """A sample; its lots by their place in the document, from 1."""

    connection = Id()
    main_lot = serializers.IntegerField(min_value=1, max_value=100)
    leader_lot = serializers.IntegerField(
        min_value=1, max_value=100, required=False, allow_null=True
    )
    terminal = serializers.CharField(max_length=60, required=False, allow_blank=True)
    doubled = serializers.BooleanField(required=False)
    parameters = serializers.DictField(required=False)
    specification = serializers.CharField(
        max_length=LONGEST_SPECIFICATION, required=False, allow_blank=True
    )
    tied = Choice(RoundSample.TiedBy.choices)
    ties = serializers.IntegerField(min_value=2, max_value=MOST_TIES, required=False)
    codes = serializers.IntegerField(min_value=1, max_value=MOST_CODES, required=False)
    level = serializers.IntegerField(min_value=1, max_value=MOST_SAMPLES, required=False)


class RoundSent(Strict):
    """A round as its organiser plans it; ``packer`` and ``tyer`` are testers' numbers."""

    title = serializers.CharField(max_length=LONGEST_TITLE)
    starts_on = Day()
    results_by = Day()
    line_state = Choice(Session.State.choices, required=False)
    packer = Id(required=False, allow_null=True)
    tyer = Id(required=False, allow_null=True)
    sigma_relative = serializers.FloatField(
        min_value=SIGMA_RELATIVE[0],
        max_value=SIGMA_RELATIVE[1],
        required=False,
        allow_null=True,
        help_text="standard deviation for assessment as a share of the value, declared before the "
        "results (ISO 13528); without it scores go by how far results scatter",
    )
    lots = LotSent(many=True)
    samples = SampleSent(many=True)


class DeadlineSent(Strict):
    """Another last day for results, later than the one that it takes the place of."""

    results_by = Day()


class EntrySent(Strict):
    """The code by which one enters."""

    entry_code = serializers.CharField(max_length=40)


class RoundDocument(ShownRow):
    """What everyone may see of a round."""

    club = serializers.CharField(source="club.name")
    participants = serializers.IntegerField(source="participant_count")

    class Meta:
        model = Round
        fields = [
            "id",
            "title",
            "club",
            "state",
            "line_state",
            "starts_on",
            "results_by",
            "participants",
            "sigma_relative",
        ]


class OwnRoundDocument(Shown):
    """What its organiser gets of a round: its title as written, and the code to give away."""

    id = serializers.IntegerField()
    title = serializers.SerializerMethodField()
    state = serializers.CharField()
    entry_code = serializers.SerializerMethodField()

    @extend_schema_field(serializers.CharField())
    def get_title(self, of: Any) -> str:
        return str(raw(of).title)

    @extend_schema_field(serializers.CharField())
    def get_entry_code(self, of: Any) -> str:
        return readable(raw(of).entry_code)


class EntryDocument(Shown):
    """That one takes part, and of what."""

    round = serializers.IntegerField(source="round_id")
    title = serializers.SerializerMethodField()
    late = serializers.BooleanField()

    @extend_schema_field(serializers.CharField())
    def get_title(self, entered: Any) -> str:
        return str(raw(entered).round.title)


class KnownSample(Shown):
    """A sample that one may know: which join, on which lots, and how it is tied."""

    sample = serializers.IntegerField(source="number")
    connection = serializers.IntegerField(source="connection_id")
    main_lot = serializers.IntegerField(source="main_lot.number")
    leader_lot = serializers.IntegerField(source="leader_lot.number", default=None, allow_null=True)
    doubled = serializers.BooleanField()
    terminal = serializers.SerializerMethodField()
    parameters = serializers.SerializerMethodField()
    specification = serializers.SerializerMethodField()
    tied = serializers.CharField()
    ties = serializers.IntegerField()

    @extend_schema_field(serializers.CharField())
    def get_terminal(self, sample: Any) -> str:
        return str(raw(sample).terminal)

    @extend_schema_field(serializers.DictField())
    def get_parameters(self, sample: Any) -> dict[str, Any]:
        return dict(raw(sample).parameters)

    @extend_schema_field(serializers.CharField())
    def get_specification(self, sample: Any) -> str:
        return str(raw(sample).specification)


class CodeDocument(Shown):
    """One of one's codes; ``sample`` is null where what it is of is hidden until the close."""

    code = serializers.SerializerMethodField()
    ties = serializers.IntegerField()
    sent = serializers.BooleanField()
    sample = KnownSample(allow_null=True)

    @extend_schema_field(serializers.CharField())
    def get_code(self, own: Any) -> str:
        return readable(raw(own).code)


class SenderDocument(Shown):
    """Who takes part, and of how many of their codes results have come."""

    contributor = serializers.SerializerMethodField()
    handle = serializers.SerializerMethodField()
    sent = serializers.IntegerField()
    codes = serializers.IntegerField()
    late = serializers.BooleanField(help_text="results came after the last day")
    entered_late = serializers.BooleanField(help_text="entered after the round was opened")
    not_blind = serializers.BooleanField(help_text="has seen which code is which sample")

    @extend_schema_field(serializers.IntegerField())
    def get_contributor(self, sender: Any) -> int:
        return int(raw(sender).participant.contributor_id)

    @extend_schema_field(serializers.CharField())
    def get_handle(self, sender: Any) -> str:
        return str(raw(sender).participant.contributor.handle)


class LotDocument(Shown):
    """A spool of the round, as those in it know it."""

    number = serializers.IntegerField()
    line = serializers.SerializerMethodField()
    spool = serializers.SerializerMethodField()

    @extend_schema_field(serializers.CharField())
    def get_line(self, lot: Any) -> str:
        return str(raw(lot).line.name)

    @extend_schema_field(serializers.CharField())
    def get_spool(self, lot: Any) -> str:
        return str(raw(lot).spool)


class LotPullsSent(Strict):
    """The organiser's own pulls of straight line of a spool, piece by piece."""

    occasion = Choice(LotPull.Occasion.choices)
    unit = serializers.CharField(max_length=10)
    pieces = serializers.ListField(
        child=serializers.ListField(
            child=serializers.FloatField(), max_length=MOST_OF_A_PIECE, allow_empty=False
        ),
        max_length=MOST_PIECES,
        allow_empty=False,
        help_text="readings of each piece; pieces need not have equally many",
    )


class LotVerdictDocument(Shown):
    """Whether a spool is alike all through, and whether it stayed so; null with the reason."""

    number = serializers.IntegerField(source="spool")
    pieces = serializers.IntegerField(source="lengths")
    mean_N = serializers.FloatField(allow_null=True)
    between_pieces_sd_N = serializers.FloatField(source="between_lengths_sd_N", allow_null=True)
    within_pieces_sd_N = serializers.FloatField(source="within_lengths_sd_N", allow_null=True)
    limit_N = serializers.FloatField(allow_null=True)
    expanded_limit_N = serializers.FloatField(allow_null=True)
    alike = serializers.BooleanField(allow_null=True)
    why_not_alike = serializers.CharField()
    difference_at_end_N = serializers.FloatField(allow_null=True)
    stable = serializers.BooleanField(allow_null=True)
    why_not_stable = serializers.CharField()
    pulls_at_end = serializers.IntegerField()
    mean_at_end_N = serializers.FloatField(allow_null=True)


class PackedDocument(Shown):
    """What goes to which participant under which code; ``copy`` is 2 of a hidden duplicate."""

    handle = serializers.SerializerMethodField()
    code = serializers.SerializerMethodField()
    sample = serializers.IntegerField(source="sample.number")
    copy = serializers.SerializerMethodField()

    @extend_schema_field(serializers.CharField())
    def get_handle(self, packed: Any) -> str:
        return str(raw(packed).participant.contributor.handle)

    @extend_schema_field(serializers.CharField())
    def get_code(self, packed: Any) -> str:
        return readable(raw(packed).code)

    @extend_schema_field(serializers.IntegerField())
    def get_copy(self, packed: Any) -> int:
        return int(raw(packed).copy)


class SealedDocument(ShownRow):
    """A session of one's own that is kept sealed until the close."""

    round = serializers.IntegerField(source="participant.round_id")
    late = serializers.BooleanField(
        source="is_late", help_text="came after the last day for results, as that is now"
    )

    class Meta:
        model = SealedSession
        fields = ["id", "round", "state", "late", "problem", "session", "received_at"]


class ParticipantDocument(Shown):
    """A participant's number in the report, and who it is."""

    participant = serializers.IntegerField()
    handle = serializers.CharField()


class RoundReportDocument(ShownRow):
    """A version of a round's report: whole for those in the round, else of all together."""

    report = serializers.SerializerMethodField(
        help_text="participants and samples by their numbers in the round; who is not in it reads "
        "what is of all participants together, and how many were late or not blind"
    )
    changes = serializers.SerializerMethodField(
        help_text="what makes it differ from the version before: `withdrawn`, `corrected`, "
        "`recalculated` or `added` sets of a participant, each spool that was `pulled again` after "
        "the round, each assigned `value` that moved, and, for those in the round alone, each "
        "participant's `score` that moved, from `was` to `is`"
    )
    participants = serializers.SerializerMethodField(
        help_text="the testers behind the numbers, for those in the round alone"
    )

    class Meta:
        model = RoundReport
        fields = [
            "round", "number", "made_at", "formulae", "sets", "report", "changes", "participants",
        ]  # fmt: skip

    @property
    def _whole(self) -> bool:
        return bool(self.context.get("in_the_round"))

    @extend_schema_field(serializers.DictField())
    def get_report(self, made: Any) -> dict[str, Any]:
        found = raw(made).report
        return dict(found) if self._whole else public_part(found)

    @extend_schema_field(serializers.ListField(child=serializers.DictField()))
    def get_changes(self, made: Any) -> list[dict[str, Any]]:
        found = raw(made).changes
        return list(found) if self._whole else public_changes(found)

    @extend_schema_field(ParticipantDocument(many=True))
    def get_participants(self, made: Any) -> list[dict[str, Any]]:
        if not self._whole:
            return []
        handles = handles_of(raw(made).round)
        return [{"participant": number, "handle": handle} for number, handle in handles.items()]


class OwnReportDocument(Shown):
    """One's own part of a round's report."""

    participant = serializers.IntegerField()
    version = serializers.IntegerField()
    own = serializers.DictField()
    samples = serializers.ListField(child=serializers.DictField())
