"""People, databases and clients come with Django; pure tests run without: ``-p no:django``."""

import sys

if "pytest_django" in sys.modules:
    pytest_plugins = ["tests.people"]
