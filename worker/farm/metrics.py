"""The farm's figures for Prometheus, read from Redis when they are asked for."""

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from .farm import Farm
from .health import FarmHealth, farm_health
from .state import BUCKETS_MS

if TYPE_CHECKING:
    from prometheus_client.core import Metric


class FarmCollector:
    """Gives the metrics of one farm."""

    def __init__(self, farm: Farm) -> None:
        """Keep the farm that is asked."""
        self._farm = farm

    def collect(self) -> "Iterator[Metric]":
        """Yield the metrics as they are now."""
        from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily

        health = farm_health(self._farm)

        def gauge(name: str, text: str, value: float) -> "Metric":
            return GaugeMetricFamily(f"carrellata_{name}", text, value=value)

        yield gauge("redis_up", "Whether Redis answers.", float(health.redis))
        if not health.redis:
            return
        waiting = GaugeMetricFamily(
            "carrellata_queue_length", "Messages that wait.", labels=["queue"]
        )
        canary = GaugeMetricFamily(
            "carrellata_canary_age_seconds",
            "Since the pool took a canary.",
            labels=["pool"],
        )
        for queue, n in health.waiting.items():
            waiting.add_metric([queue], n)
        for pool, age_s in health.canary_s.items():
            canary.add_metric([pool], float("inf") if age_s is None else age_s)
        yield from (waiting, canary)
        yield gauge("in_flight", "Messages with workers.", health.in_flight)
        yield gauge(
            "oldest_in_flight_seconds",
            "Age of the oldest message with a worker.",
            health.oldest_s,
        )
        yield gauge("workers", "Workers seen lately.", len(health.workers))
        yield gauge("open_batches", "Batches not ended.", health.open_batches)
        if health.memory_mb is not None:
            memory = 1e6 * health.memory_mb
            yield gauge("redis_memory_bytes", "Memory that Redis uses.", memory)
        shots = CounterMetricFamily(
            "carrellata_shots", "Shots done.", labels=["phase", "status"]
        )
        events = CounterMetricFamily(
            "carrellata_events", "What the farm put right.", labels=["event"]
        )
        for name, n in sorted(health.counts.items()):
            kind, *parts = name.split(":")
            if kind == "shots":
                shots.add_metric(parts, n)
            elif not parts:
                events.add_metric([name], n)
        yield from (shots, events, _durations(health))


def _durations(health: FarmHealth) -> Any:
    from prometheus_client.core import HistogramMetricFamily

    family = HistogramMetricFamily(
        "carrellata_shot_seconds", "Time that a shot took.", labels=["phase"]
    )
    counts = health.counts
    for phase in sorted({n.split(":")[1] for n in counts if n.startswith("ms:")}):
        total, buckets = 0, []
        for edge in (*map(str, BUCKETS_MS), "inf"):
            total += counts.get(f"ms:{phase}:{edge}", 0)
            limit = "+Inf" if edge == "inf" else f"{int(edge) / 1e3:g}"
            buckets.append((limit, total))
        family.add_metric(
            [phase], buckets, sum_value=counts.get(f"ms:{phase}:sum", 0) / 1e3
        )
    return family


def serve_metrics(farm: Farm, host: str, port: int) -> None:
    """Answer for the metrics at an address, in a thread.

    Raises:
        OSError: it cannot be listened on.
    """
    from prometheus_client import CollectorRegistry, start_http_server

    registry = CollectorRegistry()
    registry.register(FarmCollector(farm))
    start_http_server(port, addr=host, registry=registry)
