"""Three hosts, each a network and mounts of its own, over one shared folder."""

import os
import shutil
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from farms import TestFarm, until
from walks import many_shots, walking_job

from carrellata.jobs.run.local import solve_job

pytestmark = pytest.mark.slow

NET = f"10.83.{os.getpid() % 250}"  # that of another run is another
CLOCKS_S = (0.0, 2.0, -2.0)
# A host mounts the shared folder for itself, and has a folder that no other sees.
MOUNTS = 'mount --bind "$1" "$1" && mount -t tmpfs own "$2" && shift 2 && exec "$@"'


def ip(*words: str) -> bool:
    """Change the network; tell whether it was done."""
    done = subprocess.run(["ip", *words], capture_output=True, check=False)
    return done.returncode == 0


def mounts(pid: int, *folders: Path) -> tuple[str, ...]:
    """Return the numbers under which a process has these folders mounted."""
    lines = Path(f"/proc/{pid}/mountinfo").read_text(encoding="utf-8").splitlines()
    found = {fields[4]: fields[0] for fields in map(str.split, lines)}
    return tuple(found[str(folder)] for folder in folders)


class Hosts:
    """Network namespaces on one bridge, on which the server listens."""

    def __init__(self) -> None:
        self.names = [f"crl{os.getpid()}-{k}" for k in range(len(CLOCKS_S))]
        self._bridge = f"crlb{os.getpid()}"

    def start(self) -> bool:
        """Make them; tell whether this machine lets us."""
        made = ip("link", "add", self._bridge, "type", "bridge") and ip(
            "addr", "add", f"{NET}.1/24", "dev", self._bridge
        )
        made = made and ip("link", "set", self._bridge, "up")
        for k, name in enumerate(self.names):
            inside = ("-n", name)
            made = (
                made
                and ip("netns", "add", name)
                and ip(
                    *("link", "add", self.wire(k), "type", "veth"),
                    *("peer", "name", "eth0", "netns", name),
                )
                and ip("link", "set", self.wire(k), "master", self._bridge, "up")
                and ip(*inside, "addr", "add", f"{NET}.{10 + k}/24", "dev", "eth0")
                and ip(*inside, "link", "set", "eth0", "up")
                and ip(*inside, "link", "set", "lo", "up")
            )
        return made

    def stop(self) -> None:
        for name in self.names:
            ip("netns", "del", name)
        ip("link", "del", self._bridge)

    def on(self, k: int, shared: Path, own: Path) -> tuple[str, ...]:
        """Return the words that run a command on a host.

        Args:
            k: which host.
            shared: a folder, which the host mounts.
            own: a folder in whose place the host has one of its own.
        """
        mounts = ("sh", "-c", MOUNTS, "host", str(shared), str(own))
        return ("ip", "netns", "exec", self.names[k], *mounts)

    def wire(self, k: int) -> str:
        """Return the name of the bridge's end of a host's wire."""
        return f"crlv{os.getpid()}-{k}"


@pytest.fixture(name="hosts")
def _hosts() -> Iterator[Hosts]:
    if shutil.which("ip") is None or os.geteuid() != 0:
        pytest.skip("networks can only be made by root, with `ip`")
    made = Hosts()
    try:
        if not made.start():
            pytest.skip("this machine does not let networks be made")
        yield made
    finally:
        made.stop()


def test_a_host_that_is_cut_off_and_comes_back_harms_nothing(
    make_farm: Callable[..., TestFarm], hosts: Hosts, tmp_path: Path
) -> None:
    farm = make_farm(
        address=f"{NET}.1", SILENT_S="3", TIME_LIMIT_S="60", VISIBILITY_TIMEOUT_S="120"
    )
    farm.faults["slow_s"] = 0.3
    job = farm.job(walking_job(*many_shots(30)))
    own = tmp_path / "own"
    own.mkdir()
    workers = []
    for k, clock_s in enumerate(CLOCKS_S):
        farm.faults["clock_s"] = clock_s
        host = hosts.on(k, farm.folder, own)
        workers.append(farm.worker(processes=1, host=host))
    sweeper = farm.sweeper()
    seen = {mounts(worker.pid, farm.folder, own) for worker in workers}
    assert len(seen) == 3
    batch = farm.submit(job).batch
    until(lambda: len(farm.started()) >= 6)
    assert ip("link", "set", hosts.wire(1), "down")
    until(lambda: sweeper.said("worker gone"))
    assert ip("link", "set", hosts.wire(1), "up")
    assert farm.end(batch).counts == {"solved": 30}
    alone = solve_job(job, tmp_path / "alone", workers=1)
    there = farm.takes()
    for path in (alone.folder / "takes").iterdir():
        assert there[f"chase/takes/{path.name}"] == path.read_bytes(), path.name
    # Wrong clocks made nobody look silent, and who came back works on.
    assert len(sweeper.said("worker gone")) == 1
    assert all(worker.alive for worker in workers)
    again = farm.submit(farm.job(walking_job(*many_shots(6)), "again"), "again").batch
    assert farm.end(again).counts == {"solved": 6}
