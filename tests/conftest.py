"""People, databases and clients come with Django; pure tests run without: ``-p no:django``."""

import sys

import hypothesis

if "pytest_django" in sys.modules:
    pytest_plugins = ["tests.people"]


def pytest_make_parametrize_id(val: object, argname: str) -> str | None:
    """Files that are made afresh each time, with their date in them, name no test.

    Two processes that run a part each would collect other tests.
    """
    return argname if isinstance(val, bytes | bytearray) else None


# An example that takes long on a busy machine is no fault of what it tries.
hypothesis.settings.register_profile("untimed", deadline=None)
hypothesis.settings.load_profile("untimed")
