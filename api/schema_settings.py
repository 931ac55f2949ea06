"""Settings of the OpenAPI document. Plain values, read while the settings are made."""

from typing import Any

SPECTACULAR_SETTINGS: dict[str, Any] = {
    "TITLE": "Samespool",
    "VERSION": "1",
    "OAS_VERSION": "3.1.0",
    "SERVE_INCLUDE_SCHEMA": False,
    "DESCRIPTION": (
        "Pull tests of fishing-line joins, pooled over testers and their rigs. Loaded line hurts: "
        "wear eye protection and stand out of its path. Results are not for lifting, climbing or "
        "life support."
    ),
    "LICENSE": {
        "name": "Creative Commons Attribution 4.0 International, of the data",
        "url": "https://creativecommons.org/licenses/by/4.0/",
    },
    "TAGS": [
        {"name": "catalogue", "description": "lines and joins"},
        {"name": "open data", "description": "everything public, as numbered archives"},
        {"name": "people", "description": "testers and clubs, one's own account and notices"},
        {"name": "pools", "description": "what all testers together say of a join; comparisons"},
        {"name": "review", "description": "sets under review, decisions, appeals and reports"},
        {"name": "rigs", "description": "rigs with their revisions and calibrations, and charts"},
        {"name": "root", "description": "where everything is"},
        {"name": "rounds", "description": "rounds of a club: samples, codes, entries and reports"},
        {"name": "sessions", "description": "uploads, their jobs, and what is stored of them"},
        {"name": "tokens", "description": "how a program signs in"},
    ],
    "SERVERS": [{"url": "/", "description": "the service that this document comes from"}],
    "SCHEMA_PATH_PREFIX": "/api/v1",
    "ENUM_NAME_OVERRIDES": {
        "MaterialEnum": "rigs.models.lines.Material",
        "GripEnum": "rigs.models.rigs.RigRevision.Grip",
        "PullSetStateEnum": "results.models.sessions.PullSet.State",
        "JobStateEnum": "results.models.jobs.Job.State",
        "SeriesKindEnum": [("straight line", "straight line"), ("join", "join")],
        "StandingEnum": "results.models.sessions.Session.Standing",
        "CalibrationStandingEnum": "rigs.models.calibrations.Calibration.Standing",
        "RevisionStandingEnum": "rigs.models.rigs.RigRevision.Standing",
        "SessionStateEnum": "results.models.sessions.Session.State",
    },
    "COMPONENT_SPLIT_REQUEST": True,
    "POSTPROCESSING_HOOKS": [
        "drf_spectacular.hooks.postprocess_schema_enums",
        "api.schema.name_uploads",
        "api.schema.require_uploads",
        "api.schema.leave_out_private",
        "api.schema.name_path_parameters",
        "api.schema.summarise",
        "api.schema_links.link_answers",
        "api.sheets.describe_sheets",
        "api.deprecation.mark_deprecated",
        "api.schema_answers.show_answers",
        "api.schema_members.describe_numbers",
        "api.schema_problems.add_problems",
    ],
    "SWAGGER_UI_DIST": "SIDECAR",
    "SWAGGER_UI_FAVICON_HREF": "SIDECAR",
}
