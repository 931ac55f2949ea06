"""What the OpenAPI document says of members that no model and no serializer describes.

By component and member where the same name means different things, else by the member alone. Every
number has its unit here, and its range where one is not a matter of the bounds beside it.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

_KEY = "number of the row; it never changes"
_END = "of the 95 percent interval"
_MEAN = "mean strength in newtons, above 0"
_CV = "coefficient of variation of the strengths: standard deviation over mean, from 0"
_RATIO = "a ratio, above 0"

MEMBERS: dict[str, str] = {
    "id": _KEY,
    "pull_set": _KEY,
    "subject_id": "number of the set, or of the row whose name it is",
    "number": "counted from 1",
    "version": "counted from 1",
    "revision": "the rig's revision by its number, from 1",
    "low": f"lower end {_END}, in the unit of the value that it is of",
    "high": f"upper end {_END}, in the unit of the value that it is of",
    "mean_N": _MEAN,
    "baseline_mean_N": f"{_MEAN}: of the straight line",
    "cv": _CV,
    "baseline_cv": f"{_CV}: of the straight line",
    "n_effective": "pulls that the mean is worth, above 0",
    "baseline_n_effective": "straight-line pulls that their mean is worth, above 0",
    "FiguresDocument.degrees_of_freedom": "of cv, above 0",
    "baseline_degrees_of_freedom": "of baseline_cv, above 0",
    "baseline_counted": "straight-line pulls that say something of the strength",
    "efficiency": "mean strength of the join over that of its reference line; a ratio, above 0",
    "FiguresDocument.efficiency": "mean strength of the join over that of its reference line, "
    "corrected for the bias of a ratio of means of few pulls: exp(log_ratio); above 0",
    "log_ratio": "natural logarithm of the efficiency, corrected for bias (Lajeunesse 2015)",
    "own_variance": "variance of log_ratio from the set's own pulls, by this set's own scatter; a "
    "pool takes the scatter of all its sets instead, so that its figure doesn't follow from these "
    "by inverse variances: OPEN_DATA.md says how it does",
    "shared_variance": "variance of log_ratio that sets on the same baseline have in common, by "
    "this baseline's own scatter; for a pool see own_variance",
    "pulls": "number of pulls",
    "pull_sets": "number of pull sets",
    "baselines": "number of baselines",
    "pull_set_count": "number of pull sets",
    "baseline_count": "number of baselines",
    "number_added": "sets that came with this version",
    "number_removed": "sets that went with this version",
    "sets": "number of pull sets",
    "sessions": "number of sessions",
    "testers": "number of testers",
    "members": "number of testers who are members",
    "attempts": "tries so far, of five",
    "bytes": "size of the file in bytes",
    "latitude_deg": "degrees, south negative, from -90 to 90",
    "height_m": "metres above the sea, from -500 to 6000",
    "temperature_C": "degrees Celsius",
    "soak_hours": "hours in water before the pulls",
    "discarded_ties": "ties discarded before they were pulled",
    "time_to_tie_s": "seconds to tie one",
    "time_to_break_s": "seconds from slack to the break",
    "TraceDocument.count": "number of samples",
    "peak_N": "highest sample, in newtons",
    "loading_rate_N_per_s": "newtons a second, the mean from a tenth to nine tenths of the peak",
    "zero_before_N": "reading without load before the pull, in newtons; null where it shows none",
    "zero_after_N": "the same after the pull",
    "u_zero_N": "standard uncertainty of the mean of both, in newtons",
    "missed_peak_N": "by how much the highest sample lies below the peak on average, in newtons",
    "u_missed_peak_N": "standard uncertainty of that, in newtons",
    "noise_excess_N": "that noise adds to the highest sample on average, in newtons",
    "stiffening": "loading rate of the upper half over that of the lower one; a ratio",
    "TraceDocument.step": "of the forces as they were written, in the unit",
    "pulleys_between": "pulleys between line and indicator; each adds friction",
    "lever_ratio": "force on the line over force on the indicator; a ratio",
    "sample_rate_Hz": "readings a second",
    "participants": "testers who take part",
    "main_lot": "number of the lot of the main line within the round, from 1",
    "leader_lot": "number of the lot of the leader within the round, from 1",
    "ties": "joins under one code",
    "codes": "codes of each participant",
    "level": "samples of one level are meant to hold the same but for who tied them",
    "sent": "codes of which results have come",
    "participant": "number of the participant, drawn at the close",
    "sample": "number of the sample within the round; a hidden duplicate of 3 is 103",
    "copy": "2 of a hidden duplicate, else 1",
    "pulls_at_end": "pulls of the spool that were made after the round",
    "mean_at_end_N": "mean of the pulls that were made after the round, in newtons",
    "pieces": "pieces along the spool that were pulled before the round",
    "between_pieces_sd_N": "standard deviation between pieces, in newtons",
    "within_pieces_sd_N": "standard deviation of pulls of one piece, in newtons",
    "limit_N": "0.3 of the standard deviation for assessment, in newtons (ISO 13528, annex B)",
    "expanded_limit_N": "the same with what so few pieces leave open, in newtons",
    "difference_at_end_N": "mean before the round less that after it, without sign, in newtons",
    "RoundSent.tyer": "the tester's id; who sets up ties where there is none",
    "round": _KEY,
    "formulae": "number of the release of the computations",
    "SealedDocument.session": "the id of the session that it became at the close, or null",
    "SampleSent.connection": "the connection's id",
    "KnownSample.connection": "the connection's id",
    "LotSent.line": "the line's id",
    "RoundSent.packer": "the tester's id; who sets up packs where there is none",
    "SenderDocument.contributor": "the tester's id",
    "lowest": "least value that the parameter may have, in its unit",
    "highest": "greatest value that the parameter may have, in its unit",
    "status": "the HTTP status, here once more",
    "gain": "reading over force; a ratio near 1",
    "offset_N": "reading without load, in newtons",
    "u_gain": "standard uncertainty of the gain",
    "u_offset_N": "standard uncertainty of the offset, in newtons",
    "correlation": "of gain and offset, from -1 to 1",
    "residual_sd_N": "standard deviation of the readings about the line, in newtons",
    "degrees_of_freedom": "of the line's standard uncertainties",
    "lowest_N": "smallest force of the calibration, in newtons",
    "highest_N": "largest force of the calibration, in newtons",
    "u_mass_kg": "standard uncertainty of the mass, in kilograms",
    "force_N": "weight of the mass at this place, in newtons",
    "residual_N": "reading less the line, in newtons",
    "force_class": "class by ISO 7500-1: 0.5, 1, 2 or 3, or null for none of them",
    "rising_readings": "readings of this check weight with rising load",
    "indication": "error of the mean reading, in percent of the force",
    "repeatability": "range of the readings, in percent of the force",
    "resolution": "resolution of the indicator, in percent of the force (ISO 7500-1)",
    "figure": "the statistic of the check, in the units that its sentence gives",
    "threshold": "where the check marks or holds, in the same units",
    "p": "probability of a statistic as extreme by chance, from 0 to 1",
    "held": "sets that the check held",
    "released": "of them, sets that a moderator released",
    "rejected": "of them, sets that a moderator rejected",
    "overturned": "share of the decided sets that were released, from 0 to 1",
    "failures": "pulls that parted at the join",
    "of_join": "more pulls of the join that would separate them",
    "of_straight_line": "more pulls of straight line that would separate them",
    "variance": "variance of ln(load)",
    "sd": "standard deviation of ln(load): near the coefficient of variation",
    "percent": "change in percent of the earlier value",
    "p_same": "probability of a difference as small where the readings moved by the margin",
    "more_pulls": "more pulls on each side that would settle it",
    "over_label": "mean strength over the label's; a ratio",
    "from_revision": "number of the revision before the change",
    "to_revision": "number of the revision after the change",
    "value": "what the budget is of: an efficiency as a ratio, or a load in newtons",
    "combined": "combined standard uncertainty, in the unit of the value",
    "expanded": "half the width of the 95 percent interval, in the unit of the value",
    "standard_uncertainty": "of the source, in its own unit",
    "sensitivity": "change of the value for one unit of the source",
    "contribution": "standard uncertainty times sensitivity, in the unit of the value",
    "N": "in newtons; null where the reading was lost",
    "first": "the best rank that the join may have, from 1",
    "last": "the worst rank that the join may have",
    "weight": "weight of one's own sets in the adjusted efficiency, from 0 to 1",
    "shrunken_low": f"lower end {_END}; a ratio",
    "shrunken_high": f"upper end {_END}; a ratio",
    "ratio": "own over the others'; a ratio, where 1 is no difference",
    "ratio_low": f"lower end {_END} of the ratio",
    "ratio_high": f"upper end {_END} of the ratio",
    "interval_low": f"lower end {_END}; a ratio",
    "interval_high": f"upper end {_END}; a ratio",
    "prediction_low": "lower end of where 95 percent of new testers' sets are expected; a ratio",
    "prediction_high": "upper end of where 95 percent of new testers' sets are expected; a ratio",
    "k": "Mandel's k: own standard deviation over that of all testers",
    "k_critical_5_percent": "what k exceeds by chance in 5 of 100 testers",
    "k_critical_1_percent": "what k exceeds by chance in 1 of 100 testers",
    "f": "own variance over that of the others",
    "probability": "of an f as extreme by chance, from 0 to 1",
    "difference": "the difference to be shown, as a share of the others' efficiency",
    "ChangeDocument.lower": f"lower end {_END}, in percent",
    "ChangeDocument.upper": f"upper end {_END}, in percent",
    "EquivalenceDocument.ratio": "after over before; a ratio",
    "EquivalenceDocument.lower": "lower end of the 90 percent interval of the ratio",
    "EquivalenceDocument.upper": "upper end of the 90 percent interval of the ratio",
    "ComponentDocument.low": f"lower end {_END} of the variance",
    "ComponentDocument.high": f"upper end {_END} of the variance",
    "PlanDocument.sessions": "own sessions in all that would show it; null where none would do",
    "SetPreviewDocument.efficiency": f"as it would come out; {_RATIO}, null where there is none",
    "PastVersionDocument.number": "number of the version, from 1",
    "ReleaseDocument.version": "number of the version, from 1; a version never changes",
}
"""What a member is, by ``Component.member`` or by its name alone."""

OF_PATH = {
    "calibrations": "the calibration's id",
    "connections": "the connection's id",
    "contributors": "the tester's id",
    "jobs": "the job's id",
    "lines": "the line's id",
    "pools": "the pool's id",
    "pull-sets": "the pull set's id",
    "revisions": "the id of the rig's revision, which is not its number",
    "rigs": "the rig's id",
    "rounds": "the round's id",
    "sealed-sessions": "the sealed session's id",
    "sessions": "the session's id",
    "number": "the version's number within its pool, from 1",
}
"""What a part of the path is, by the collection that stands before it or by its own name."""


def is_number(schema: dict[str, Any]) -> bool:
    """Whether a schema's values are numbers, or null."""
    types = schema.get("type", [])
    return bool({"integer", "number"} & set([types] if isinstance(types, str) else types))


def numbers_of(document: dict[str, Any]) -> Iterator[tuple[str, str, dict[str, Any]]]:
    """Component, member and schema of each number in a document's components."""
    for component, schema in document["components"]["schemas"].items():
        for name, member in schema.get("properties", {}).items():
            if is_number(member):
                yield component.removesuffix("Request"), name, member


def describe_numbers(result: dict[str, Any], **_given: Any) -> dict[str, Any]:
    """Give each number its words where model and serializer have none."""
    for component, name, member in numbers_of(result):
        said = MEMBERS.get(f"{component}.{name}") or MEMBERS.get(name)
        if said:
            member.setdefault("description", said)
    return result
