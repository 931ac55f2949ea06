"""People, databases and clients come with Django; pure tests run without: ``-p no:django``."""

import sys

import hypothesis

if "pytest_django" in sys.modules:
    pytest_plugins = ["tests.people"]

# An example that takes long on a busy machine is no fault of what it tries.
hypothesis.settings.register_profile("untimed", deadline=None)
hypothesis.settings.load_profile("untimed")
