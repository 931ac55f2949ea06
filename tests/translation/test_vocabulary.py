"""Every word that is stored of a fixed list has its translation on pages."""

from django.db.models import TextChoices

import results.models
import rigs.models
from results.pages.figures import MODES
from results.pages.vocabulary import WORDS

INSIDE = {"Edition.Subject", "AcceptedName.Kind", "CheckResult.Level", "Job.State", "Job.Step"}
INSIDE |= {"Message.Kind", "Release.State", "RoundEvent.What"}
"""Read by the service, or said by pages in sentences of their own."""


def lists() -> list[type[TextChoices]]:
    rooms = (results.models.__name__, rigs.models.__name__)
    found = [*TextChoices.__subclasses__()]
    return [each for each in found if each.__module__.startswith(rooms)]


def test_every_word_of_a_fixed_list_is_in_the_vocabulary():
    assert len(lists()) > 20
    missing = {
        each.__qualname__: [word for word in each.values if word.replace("-", " ") not in WORDS]
        for each in lists()
        if each.__qualname__ not in INSIDE | {"Pull.FailureMode"}
        and not each.__qualname__.endswith("Standing")
    }
    assert {name: words for name, words in missing.items() if words} == {}
    assert set(results.models.Pull.FailureMode.values) <= set(MODES)


def test_the_words_themselves_are_what_is_stored():
    assert {stored: str(word) for stored, word in WORDS.items() if str(word) != stored} == {}
