"""What lies beside the tables of a release: scripts that check it, licence, citation, changes."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from results.models import Release
from results.open_data.datapackage import ABOUT, CREATOR, TITLE, ReleaseInfo
from results.open_data.tables import TABLES
from rigs.licence import SHARED_DATA

SCRIPTS = ("recompute.R", "recompute.py", "recompute.ipynb")
DATASET = "https://schema.org"
KEYWORDS = ("fishing line", "knots", "line strength", "meta-analysis", "tensile testing")


def companions(
    info: ReleaseInfo, rows: Mapping[str, int], earlier: Sequence[Release]
) -> dict[str, str]:
    """The text of each file by its name; ``earlier`` releases are the newest first."""
    here = Path(__file__).with_name("beside")
    return {
        **{name: (here / name).read_text(encoding="utf-8") for name in SCRIPTS},
        "LICENCE.md": _licence(info),
        "CITATION.cff": _citation(info),
        "datacite.json": json.dumps(_datacite(info), indent=1),
        "CHANGES.md": _changes(info, rows, earlier),
    }


def info_of(release: Release) -> ReleaseInfo:
    """What a release that was made says of itself. Raises ValueError for another."""
    if release.number is None or release.made_at is None:
        raise ValueError("a release has a number once it is made")
    return ReleaseInfo(release.number, release.made_at, release.snapshot)


def dataset(info: ReleaseInfo, page: str, archive: str) -> dict[str, Any]:
    """The release as a schema.org Dataset; ``page`` and ``archive`` are their addresses."""
    return {
        "@context": DATASET,
        "@type": "Dataset",
        "name": TITLE,
        "description": ABOUT,
        "url": page,
        "version": str(info.number),
        "datePublished": f"{info.made_at:%Y-%m-%d}",
        "identifier": info.snapshot,
        "license": SHARED_DATA.address,
        "isAccessibleForFree": True,
        "keywords": list(KEYWORDS),
        "creator": {"@type": "Organization", "name": CREATOR},
        "distribution": [
            {
                "@type": "DataDownload",
                "encodingFormat": "application/zip",
                "contentUrl": archive,
            }
        ],
        "variableMeasured": ["breaking load in newtons", "efficiency of a join"],
    }


def _licence(info: ReleaseInfo) -> str:
    return (
        f"# Licence of the data and of what lies beside it\n\n"
        f"{SHARED_DATA.name} (SPDX: {SHARED_DATA.identifier}). Its text: {SHARED_DATA.address}\n\n"
        f"You may copy, change and publish it, also for money. You have to name the source and "
        f"say what you changed:\n\n"
        f"> {CREATOR}, version {info.number}, {info.made_at:%Y-%m-%d}, {SHARED_DATA.identifier}\n"
    )


def _citation(info: ReleaseInfo) -> str:
    """Citation File Format 1.2.0."""
    return "\n".join(
        [
            "cff-version: 1.2.0",
            "message: If you use these data, please cite them as below.",
            "type: dataset",
            f"title: '{TITLE}'",
            "authors:",
            f"  - name: {CREATOR}",
            f"version: '{info.number}'",
            f"date-released: '{info.made_at:%Y-%m-%d}'",
            f"license: {SHARED_DATA.identifier}",
            "identifiers:",
            "  - type: other",
            f"    value: {info.snapshot}",
            "    description: snapshot of the pools",
            "",
        ]
    )


def _datacite(info: ReleaseInfo) -> dict[str, Any]:
    """DataCite Metadata Schema 4.5, for who deposits the version and gets a DOI for it."""
    return {
        "schemaVersion": "http://datacite.org/schema/kernel-4",
        "titles": [{"title": TITLE}],
        "creators": [{"name": CREATOR, "nameType": "Organizational"}],
        "publisher": {"name": CREATOR},
        "publicationYear": f"{info.made_at:%Y}",
        "types": {"resourceTypeGeneral": "Dataset", "resourceType": "pull tests"},
        "dates": [{"date": f"{info.made_at:%Y-%m-%d}", "dateType": "Issued"}],
        "version": str(info.number),
        "language": "en",
        "subjects": [{"subject": each} for each in KEYWORDS],
        "rightsList": [
            {
                "rights": SHARED_DATA.name,
                "rightsUri": SHARED_DATA.address,
                "rightsIdentifier": SHARED_DATA.identifier,
                "rightsIdentifierScheme": "SPDX",
            }
        ],
        "descriptions": [{"description": ABOUT, "descriptionType": "Abstract"}],
        "alternateIdentifiers": [
            {"alternateIdentifier": info.snapshot, "alternateIdentifierType": "snapshot"}
        ],
    }


def _changes(info: ReleaseInfo, rows: Mapping[str, int], earlier: Sequence[Release]) -> str:
    """Rows of each table by version, the newest first."""
    names = [table.name for table in TABLES]
    now = (info.number, f"{info.made_at:%Y-%m-%d}", rows)
    before = [(one.number, f"{one.made_at:%Y-%m-%d}", one.rows) for one in earlier]
    lines = [
        f"| {number} | {day} | " + " | ".join(str(of.get(name, "")) for name in names) + " |"
        for number, day, of in (now, *before)
    ]
    return "\n".join(
        [
            "# Rows of each table, version by version",
            "",
            "What a tester withdrew or a moderator rejected is missing from the next version, and "
            "a correction takes the place of what it corrects. `pools.version` says how often a "
            "pool's figures have changed, and its `snapshot` what they were computed from.",
            "",
            f"| version | made on | {' | '.join(names)} |",
            "|---|---|" + "---|" * len(names),
            *lines,
            "",
        ]
    )
