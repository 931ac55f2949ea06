"""The store of a release, for the tests of later ones: `python -m deploy.demo.kept_store FILE`.

The demo league's winter sent through the API of this code, with what a service lives through
afterwards: a withdrawal, a set that is held, open data. Embedded, in a folder of its own; what
opens anything (passwords, tokens, sessions) is left out. FILE is an SQLite file compressed by xz.
"""

from __future__ import annotations

import io
import lzma
import os
import sqlite3
import subprocess
import sys
import tempfile
from pathlib import Path

NOT_KEPT = ("knox_authtoken", "django_session", "mfa_authenticator", "results_waitingupload")
PORT = "8480"


def main() -> int:
    """Make the store in a process of its own that is sure to be embedded; the exit code."""
    target = Path(sys.argv[1])
    with tempfile.TemporaryDirectory(prefix="samespool-kept-") as folder:
        environment = {
            name: value
            for name, value in os.environ.items()
            if name not in ("DATABASE_URL", "REDIS_URL")
        } | {"SAMESPOOL_VAR": folder, "DJANGO_SETTINGS_MODULE": "deploy.settings"}
        demo = [sys.executable, "-m", "deploy.demo", "--no-serve", "--port", PORT]
        subprocess.run(demo, env=environment, check=True)
        subprocess.run(
            [sys.executable, "-c", "from deploy.demo.kept_store import live; live()"],
            env=environment,
            check=True,
        )
        pack(Path(folder) / "samespool.sqlite3", target)
    print(f"{target}: {target.stat().st_size} bytes")
    return 0


def live() -> None:
    """What comes after the winter, so that pools have a history; by the verbs of this code."""
    import django  # noqa: PLC0415

    django.setup()
    from django.contrib.auth.models import User  # noqa: PLC0415
    from django.core.management import call_command  # noqa: PLC0415

    from deploy.demo.accounts import MODERATOR  # noqa: PLC0415
    from results.intake import amend  # noqa: PLC0415
    from results.models import PullSet, Session  # noqa: PLC0415
    from results.review import decisions  # noqa: PLC0415
    from results.worker import embedded  # noqa: PLC0415

    embedded.drain()
    call_command("export_open_data", stdout=io.StringIO())
    first, last = Session.objects.order_by("pk").first(), Session.objects.order_by("pk").last()
    assert first is not None
    assert last is not None
    amend.withdraw(first, first.contributor, "the scale stuck at its peak")
    decisions.decide(
        by=User.objects.get(username=MODERATOR),
        pull_set=PullSet.objects.filter(session=last).order_by("pk")[0],
        decision="hold",
        reason="which spool was this?",
    )
    embedded.drain()
    for user in User.objects.all():
        user.set_unusable_password()
        user.save()


def pack(store: Path, target: Path) -> None:
    """The store without what opens anything, and without free pages, compressed."""
    with tempfile.TemporaryDirectory() as folder:
        small = Path(folder) / "store.sqlite3"
        with sqlite3.connect(store) as connection:
            for table in NOT_KEPT:
                connection.execute(f"DELETE FROM {table}")
            connection.commit()
            connection.execute("VACUUM INTO ?", [str(small)])
        connection.close()
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(lzma.compress(small.read_bytes(), preset=9))


if __name__ == "__main__":
    sys.exit(main())
