"""What the proxy sends to a read replica is the same for everyone."""

import re
from fnmatch import fnmatch

from tests.deploy.files import ROOT

PROXY = (ROOT / "deploy" / "Caddyfile.replica").read_text()
ADDRESSES = [
    "/",
    "/pools/1/",
    "/connections/1/",
    "/lines/1/",
    "/open-data/",
    "/api/v1/pools",
    "/api/v1/pools/1",
    "/api/v1/pools/1/sets",
    "/api/v1/pools/1/versions",
    "/api/v1/pools/ranking",
    "/api/v1/lines",
    "/api/v1/connections",
    "/api/v1/open-data",
]


def test_the_proxy_sends_to_the_replica_only_what_is_the_same_for_everyone():
    to_reader = re.search(r"@public \{(.*?)\n\t\}", PROXY, re.S)[1]
    assert "method GET HEAD" in to_reader
    assert "not header Authorization *" in to_reader
    assert "not header Cookie *" in to_reader
    patterns = re.search(r"path (.+)", to_reader)[1].split()
    for path in ADDRESSES:
        assert any(fnmatch(path, pattern) for pattern in patterns), path
    own = ("/bench/", "/jobs/x/", "/accounts/login/", "/admin/", "/api/v1/jobs/x", "/api/v1/me")
    for path in own:
        assert not any(fnmatch(path, pattern) for pattern in patterns), path


def test_but_for_the_replica_both_files_of_the_proxy_say_the_same():
    alone = (ROOT / "deploy" / "Caddyfile").read_text()
    without = re.sub(r"\t# What everyone may read.*?(?=\t# A slow upload)", "", PROXY, flags=re.S)
    assert without[without.index("{$") :] == alone[alone.index("{$") :]
