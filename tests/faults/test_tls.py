"""A farm whose Redis speaks TLS only, with the user of the configuration."""

from collections.abc import Callable
from pathlib import Path

import pytest
from acl import grant
from farms import TestFarm
from redis import Redis
from redis.exceptions import RedisError
from servers import certificates, tls_server_binary
from walks import many_shots, walking_job

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(tls_server_binary() is None, reason="no server speaks TLS here"),
]


def test_farm_works_over_tls_and_trusts_only_its_own_authority(
    make_farm: Callable[..., TestFarm], tmp_path: Path
) -> None:
    certificates(tmp_path / "tls")
    farm = make_farm(tls=tmp_path / "tls")
    with farm.server.client() as admin:
        grant(admin)
        farm.address = farm.server.address_of("carrellata:PASSWORD@")
        farm.worker()
        farm.sweeper()
        batch = farm.submit(farm.job(walking_job(*many_shots(6)))).batch
        assert farm.end(batch).counts == {"solved": 6}
        assert farm.run("status", "--farm").returncode == 0
        assert [entry["object"] for entry in admin.acl_log()] == []
    with (
        Redis(port=farm.server.port, socket_timeout=5) as plain,
        pytest.raises(RedisError),
    ):
        plain.ping()
    certificates(tmp_path / "other")
    farm.address = farm.address.replace("/tls/", "/other/")
    refused = farm.run("status", batch)
    assert refused.returncode != 0
    assert "its certificate is not one that is trusted" in refused.stderr
    assert "PASSWORD" not in refused.stdout + refused.stderr
