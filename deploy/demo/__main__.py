"""`deploy/try`: sets Django up before anything of the demo that needs it is imported."""

import os
import sys

import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings")
django.setup()

from deploy.demo.trying import main  # noqa: E402

sys.exit(main())
