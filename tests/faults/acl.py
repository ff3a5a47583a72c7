"""The user that the farm's configuration gives it."""

from pathlib import Path

from redis import Redis

_CONFIGURATION = Path(__file__).resolve().parents[2] / "deploy/redis.conf"


def grant(admin: "Redis") -> None:
    """Make the user on a server that was started without the configuration."""
    words = next(
        line.split()
        for line in _CONFIGURATION.read_text().splitlines()
        if line.startswith("user carrellata ")
    )
    version = tuple(map(int, admin.info("server")["redis_version"].split(".")[:2]))
    more = ["+client|setinfo"] if version >= (7, 2) else []
    admin.execute_command("ACL", "SETUSER", *words[1:], *more)
