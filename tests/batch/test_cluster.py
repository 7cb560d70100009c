"""The same bytes from a real scheduler with two worker processes, one of them killed half way."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from pitchcam.batch.cluster import ClusterWorkers
from pitchcam.errors import PitchcamError
from tests.batch import double
from tests.batch.test_resume import ROOT, TABLES, finish, started, write_box

pytest.importorskip("distributed")


@dataclass
class Cluster:
    address: str
    workers: list[subprocess.Popen[bytes]]


def _process(folder: Path, name: str, *arguments: str) -> subprocess.Popen[bytes]:
    env = os.environ | {"PYTHONPATH": str(ROOT), "PYTHONWARNINGS": "ignore"}
    with (folder / f"{name}.log").open("wb") as log:
        return subprocess.Popen(
            [sys.executable, "-m", *arguments], cwd=folder, env=env, stdout=log, stderr=log
        )


@pytest.fixture
def cluster(tmp_path: Path) -> Iterator[Cluster]:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    address = f"tcp://127.0.0.1:{port}"
    scheduler = _process(
        tmp_path,
        "scheduler",
        "distributed.cli.dask_scheduler",
        "--host",
        "127.0.0.1",
        "--port",
        str(port),
        "--no-dashboard",
        "--no-show",
    )
    workers = [
        _process(
            tmp_path,
            f"worker{i}",
            "distributed.cli.dask_worker",
            address,
            "--nthreads",
            "1",
            "--no-nanny",
            "--no-dashboard",
            "--name",
            str(i),
        )
        for i in range(2)
    ]
    try:
        _until_both_serve(address)
        yield Cluster(address, workers)
    finally:
        for process in (*workers, scheduler):
            process.kill()
            process.wait()


def _until_both_serve(address: str) -> None:
    from distributed import Client

    with Client(address, timeout=60, set_as_default=False) as client:
        client.wait_for_workers(2, timeout=60)


def start_on(cluster: Cluster, folder: Path, where: Path) -> subprocess.Popen[bytes]:
    where.mkdir()
    return started(folder, where, "--cluster", cluster.address)


def test_a_killed_worker_costs_nothing(cluster: Cluster, tmp_path: Path) -> None:
    folder = tmp_path / "photos"
    write_box(folder, 50)
    expected = finish(folder, tmp_path / "here")
    batch = start_on(cluster, folder, tmp_path / "there")
    _until_measured(tmp_path / "there" / "r.sqlite", 10)
    cluster.workers[0].send_signal(signal.SIGKILL)
    _, told = batch.communicate(timeout=120)
    assert batch.returncode == 0, told
    got = {name: (tmp_path / "there" / "box" / name).read_bytes() for name in TABLES}
    assert got == expected


def _until_measured(record: Path, count: int) -> None:
    """Wait until the record holds so many results, and the batch still runs."""
    from pitchcam.store.store import Store

    end = time.monotonic() + 60
    while time.monotonic() < end:
        if record.exists():
            with Store(record) as store:
                if len(store.ids()) >= count:
                    return
        time.sleep(0.05)
    raise AssertionError("no results came from the cluster")


def test_no_scheduler_is_one_line(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("pitchcam.batch.cluster._CONNECT_S", 1.0)
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    with pytest.raises(PitchcamError, match="no Dask scheduler answers"):
        ClusterWorkers(double.measure, f"tcp://127.0.0.1:{port}", limit_s=60)
    with pytest.raises(PitchcamError, match="no Dask scheduler answers"):
        ClusterWorkers(double.measure, "not an address", limit_s=60)
