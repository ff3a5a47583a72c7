"""Counts and times for Prometheus; no names of projects or shots."""

from prometheus_client import (
    CollectorRegistry,
    Counter,
    Gauge,
    Histogram,
    generate_latest,
)

from .kept_takes import KeptTakes
from .pool import SolverPool

_BUCKETS_S = (0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 10.0, 60.0)


class Metrics:
    """Metrics of one service."""

    def __init__(self, *, pool: SolverPool, takes: KeptTakes) -> None:
        """Register what is counted here and what is read from the others."""
        self.registry = CollectorRegistry()
        self.requests = Counter(
            "carrellata_requests",
            "Requests by route and status.",
            ("method", "route", "status"),
            registry=self.registry,
        )
        self.seconds = Histogram(
            "carrellata_request_seconds",
            "Time to the end of an answer.",
            ("route",),
            buckets=_BUCKETS_S,
            registry=self.registry,
        )
        self.takes = Counter(
            "carrellata_takes",
            "Takes answered: solved, or kept from before.",
            ("source",),
            registry=self.registry,
        )
        gauges = {
            "carrellata_waiting": ("Takes that wait.", lambda: pool.waiting),
            "carrellata_busy": ("Processes that solve.", lambda: pool.busy),
            "carrellata_lost": ("Processes that died.", lambda: pool.lost),
            "carrellata_kept_bytes": ("Of takes kept.", lambda: takes.n_bytes),
        }
        for name, (text, read) in gauges.items():
            Gauge(name, text, registry=self.registry).set_function(read)

    def text(self) -> bytes:
        """Return all of it in the text form of Prometheus."""
        return generate_latest(self.registry)
