"""One running demo for all stories that only read it, or change nothing that another counts on."""

import sys
from collections.abc import Iterator

import pytest

from tests.demo.tried import Tried, trying


@pytest.fixture(scope="session")
def tried(tmp_path_factory) -> Iterator[Tried]:
    """The demo, with as many requests a minute as no person makes."""
    command = [sys.executable, "-m", "deploy.demo"]
    folder = tmp_path_factory.mktemp("demo")
    with trying(command, folder, SAMESPOOL_REQUESTS_A_MINUTE="1000000") as found:
        yield found
