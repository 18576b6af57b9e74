"""Check batch_on_ray.py on a cluster of two local nodes of one core each.

Kills the program, then a worker, then a whole node, in the middle of a shard. Each time that shard has to be run
again, and the scores have to be those of a single machine, row for row. Ends with exit code 0
when every check held.
"""

import argparse
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import pyarrow.parquet as pq

os.environ["RAY_USAGE_STATS_ENABLED"] = "0"
from ray.cluster_utils import Cluster  # noqa: E402  (reads that variable when it is loaded)

HERE = Path(__file__).resolve().parent
FIXTURES = HERE.parents[1] / "fixtures"
STORE_BYTES = 80 * 1024 * 1024
WAIT_S = 180

# Notes each start of the program (itself, its worker, its node, the shard), then becomes the
# program.
RECORDER = """#!/bin/sh
echo "$$ $PPID $RAY_RAYLET_PID $*" >> "{log}"
exec "{tragus}" "$@"
"""


class Starts:
    """The starts of the program that the recorder noted."""

    def __init__(self, log):
        self.log = log

    def read(self):
        """Program, worker and node of each, as process ids, its shard and its output."""
        starts = []
        for line in self.log.read_text().splitlines() if self.log.exists() else []:
            program, worker, node, *words = line.split()
            after = dict(zip(words, words[1:]))
            starts.append((int(program), int(worker), int(node), after["--shard"], after["--out"]))
        return starts

    def half_done(self, node=None):
        """Program, worker and shard of the first start, or of the first on a node, as soon as its journal
        holds a photo."""
        end = time.monotonic() + WAIT_S
        while time.monotonic() < end:
            for program, worker, of, shard, out in self.read():
                journal = Path(f"{out}.journal")
                # The first line of a journal is about the run.
                if node in (None, of) and journal.exists() and journal.read_bytes().count(b"\n") > 1:
                    return program, worker, shard
            time.sleep(0.02)
        sys.exit("no shard was started that could be interrupted")


def check(holds, words):
    print(("ok: " if holds else "FAILED: ") + words, flush=True)
    return holds


def gather(folder, photos, tragus, address, shards, kill):
    """Runs the driver, kills something in the middle of a shard, and returns the scores, the exit
    code, the shard that was hit and the starts of the program."""
    folder.mkdir()
    starts = Starts(folder / "starts.txt")
    recorder = folder / "tragus"
    recorder.write_text(RECORDER.format(log=starts.log, tragus=tragus))
    recorder.chmod(0o755)
    out = folder / "scores.parquet"
    command = [sys.executable, HERE / "batch_on_ray.py", photos, "--out", out]
    command += ["--shards", str(shards), "--address", address, "--tragus", recorder]
    driver = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)
    hit = kill(starts)
    said, _ = driver.communicate(timeout=WAIT_S)
    if driver.returncode not in (0, 1):
        sys.exit(f"the driver ended with exit code {driver.returncode}\n{said}")
    return pq.read_table(out), driver.returncode, hit, starts.read()


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--tragus", type=Path, default=shutil.which("tragus"), metavar="PATH", help="default: from PATH")
    parser.add_argument("--shards", type=int, default=4)
    args = parser.parse_args()
    if not args.tragus:
        parser.error("tragus is not on PATH: give --tragus")
    tragus = args.tragus.resolve()

    with tempfile.TemporaryDirectory() as scratch:
        scratch = Path(scratch)
        photos = scratch / "photos"
        # Enough of them that a shard is still at work when its node is gone.
        for name in ("demo", "cases", "truth"):
            shutil.copytree(FIXTURES / name, photos / name)
        alone = scratch / "alone.parquet"
        single = subprocess.run([tragus, "batch", photos, "--out", alone], capture_output=True, text=True)
        if single.returncode not in (0, 1):
            sys.exit(f"tragus ended with exit code {single.returncode}\n{single.stderr}")
        expected = pq.read_table(alone)

        # Room for the driver's own figures; two nodes share this machine's memory.
        head = {"num_cpus": 1, "include_dashboard": False, "object_store_memory": STORE_BYTES}
        cluster = Cluster(initialize_head=True, head_node_args=head)
        second = cluster.add_node(num_cpus=1, object_store_memory=STORE_BYTES)
        cluster.wait_for_nodes()

        def kill_program(starts):
            program, _, shard = starts.half_done()
            os.kill(program, signal.SIGKILL)
            return shard

        def kill_worker(starts):
            _, worker, shard = starts.half_done()
            os.kill(worker, signal.SIGKILL)
            return shard

        def kill_node(starts):
            (raylet,) = second.all_processes["raylet"]
            _, _, shard = starts.half_done(raylet.process.pid)
            cluster.remove_node(second, allow_graceful=False)
            return shard

        held = []
        try:
            for name, kill in (("program", kill_program), ("worker", kill_worker), ("node", kill_node)):
                table, code, hit, starts = gather(scratch / name, photos, tragus, cluster.address, args.shards, kill)
                again = sum(shard == hit for *_, shard, _ in starts)
                held += [
                    check(again > 1, f"{name} killed: shard {hit} was started {again} times"),
                    check(len({shard for *_, shard, _ in starts}) == args.shards, f"{len(starts)} starts for {args.shards} shards"),
                    check(code == single.returncode, f"exit code {code}, as of a single machine"),
                    check(table.equals(expected, check_metadata=True), f"{table.num_rows} rows, the same as of a single machine"),
                ]
        finally:
            cluster.shutdown()
    sys.exit(0 if all(held) else "a check failed")


if __name__ == "__main__":
    main()
