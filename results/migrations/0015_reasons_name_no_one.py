"""Sentences on why a pool was computed name sessions and decisions by number alone."""

import re

from django.db import migrations

BATCH = 500
OF_SESSION = re.compile(r"(session \d+) of .* (was (?:added|worked out again|withdrawn|replaced))", re.DOTALL)
DECISION = re.compile(r"(decision \d+ on set \d+: \w+), .*", re.DOTALL)


def by_number(sentence):
    for form, kept in ((OF_SESSION, r"\1 \2"), (DECISION, r"\1")):
        if form.fullmatch(sentence):
            return form.sub(kept, sentence)
    return sentence


def name_no_one(apps, schema_editor):
    versions = apps.get_model("results", "PoolVersion").objects
    changed = []
    for version in versions.only("pk", "why").order_by("pk").iterator(BATCH):
        why = [by_number(sentence) for sentence in version.why]
        if why != version.why:
            version.why = why
            changed.append(version)
        if len(changed) == BATCH:
            versions.bulk_update(changed, ["why"])
            changed = []
    versions.bulk_update(changed, ["why"])
    for mark in apps.get_model("results", "StalePool").objects.order_by("pk"):
        if by_number(mark.why) != mark.why:
            mark.why = by_number(mark.why)
            mark.save(update_fields=["why"])


class Migration(migrations.Migration):
    dependencies = [("results", "0014_erasures_and_reports")]

    operations = [migrations.RunPython(name_no_one, migrations.RunPython.noop)]
