"""Measure a folder of photos on a Ray cluster: tragus batch, one shard a task.

The folder (and the manifest) must lie under the same path on every node, and the program tragus
must be there too. The scores are the same, row for row, as those of one machine. Exit codes are
those of tragus: 0 done; 1 done, but something could not be measured; 2 could not run.
"""

import argparse
import os
import platform
import re
import shutil
import subprocess
import sys
import tempfile
import uuid
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq

# Photos of patients are no reason to tell anyone that a cluster is at work.
os.environ.setdefault("RAY_USAGE_STATS_ENABLED", "0")
import ray  # noqa: E402  (reads that variable when it is loaded)


def measure_shard(number, shards, photos, manifest, tragus, jobs, run):
    """Runs tragus on one shard. Returns its exit code, its Parquet file as bytes, and what it said.

    The bytes travel through Ray, so that nodes need no folder in common to write into. A shard
    that could not run is an answer, not an exception, which Ray would bury in its own messages.
    """
    import fcntl

    # The same folder for every attempt of this shard on this node: what a killed attempt had
    # measured is not measured again.
    scratch = Path(tempfile.gettempdir()) / f"tragus-{run}-{number}"
    scratch.mkdir(mode=0o700, exist_ok=True)
    out = scratch / "scores.parquet"
    command = [tragus, "batch", photos, "--shard", f"{number}/{shards}", "--out", str(out), "--resume", "--jobs", str(jobs)]
    if manifest:
        command += ["--manifest", manifest]
    # The program outlives a worker that is killed. It inherits the lock, so the next attempt
    # waits for it instead of writing into the same file, and then finds its work done.
    with open(scratch / "lock", "w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        try:
            done = subprocess.run(
                command,
                stdin=subprocess.DEVNULL,
                capture_output=True,
                text=True,
                errors="replace",
                pass_fds=[lock.fileno()],
            )
        except OSError as error:
            shutil.rmtree(scratch)
            return 2, b"", f"{tragus} does not start on {platform.node()}: {error.strerror}"
        if done.returncode < 0:
            # Killed, for want of memory perhaps: tried again, going on from what is here.
            raise ChildProcessError(f"tragus was killed by signal {-done.returncode} on {platform.node()}")
        scores = out.read_bytes() if done.returncode in (0, 1) else b""
        shutil.rmtree(scratch)
    return done.returncode, scores, done.stderr.strip()


def gather(tables):
    """One table in the order of a single machine: by photo, and as measured within a photo."""
    # The sort is stable, and no photo is in two shards.
    return pa.concat_tables(tables).sort_by("photo")


def write_atomically(table, path):
    """Whoever looks sees the file of before or the whole new one."""
    scratch = path.with_name(f".{path.name}.{uuid.uuid4().hex}")
    try:
        pq.write_table(table, scratch)
        os.replace(scratch, path)
    finally:
        scratch.unlink(missing_ok=True)


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("photos", type=Path, metavar="PHOTOS_FOLDER")
    parser.add_argument("--out", type=Path, required=True, metavar="FILE", help="scores.parquet")
    parser.add_argument("--shards", type=int, required=True, metavar="N", help="tasks; several for each core, so that none is long")
    parser.add_argument("--manifest", type=Path, metavar="FILE", help="photos.csv, handed to tragus")
    parser.add_argument("--address", help="of the cluster, or auto; without it, this machine alone")
    parser.add_argument("--tragus", default="tragus", metavar="PATH", help="the program on every node (default: from PATH)")
    parser.add_argument("--cpus", type=int, default=1, metavar="N", help="cores of a task (default: 1)")
    parser.add_argument("--retries", type=int, default=3, metavar="N", help="how often a shard is run again whose program, worker or node died (default: 3)")
    args = parser.parse_args()
    if args.shards < 1 or args.cpus < 1:
        parser.error("--shards and --cpus: expected 1 or more")
    if args.out.suffix != ".parquet":
        parser.error(f"--out: expected a name that ends in .parquet: {args.out}")
    if not args.out.absolute().parent.is_dir():
        parser.error(f"--out: there is no such folder to write into: {args.out.absolute().parent}")

    ray.init(address=args.address, include_dashboard=None if args.address else False, log_to_driver=False)
    # Tried again when the program, its worker or its node dies. Whatever tragus itself says, it
    # would say again.
    task = ray.remote(measure_shard).options(
        num_cpus=args.cpus,
        max_retries=args.retries,
        retry_exceptions=[ChildProcessError],
        scheduling_strategy="SPREAD",
    )
    manifest = str(args.manifest.resolve()) if args.manifest else None
    # A bare name is looked up on each node's PATH.
    tragus = os.path.abspath(args.tragus) if os.sep in args.tragus else args.tragus
    settings = (args.shards, str(args.photos.resolve()), manifest, tragus, args.cpus, uuid.uuid4().hex)
    waiting = [task.remote(number, *settings) for number in range(1, args.shards + 1)]
    tables, runtimes = [], set()
    while waiting:
        (done,), waiting = ray.wait(waiting)
        try:
            code, scores, words = ray.get(done)
        except ray.exceptions.RayError as error:
            why = getattr(error, "cause", error)
            print(f"batch_on_ray: a shard was lost after {args.retries} retries: {why}", file=sys.stderr)
            return 2
        if code not in (0, 1):
            print(f"batch_on_ray: a shard ended with exit code {code}\n{words}", file=sys.stderr)
            return 2
        for line in words.splitlines():
            if line.startswith(("Left out: ", "passed over: ")):
                print(line, file=sys.stderr)
            if runtime := re.search("nets on the (.*) runtime", line):
                runtimes.add(os.path.basename(runtime[1]))
        tables.append(pq.read_table(pa.BufferReader(scores)))
        print(f"{len(tables)} of {args.shards} shards", file=sys.stderr)
    if len(runtimes) > 1:
        print(f"batch_on_ray: the nodes ran different runtimes, whose values differ a little: {', '.join(sorted(runtimes))}", file=sys.stderr)
    table = gather(tables)
    write_atomically(table, args.out)
    # From the table, not from the shards' exit codes: one that was found done says 0.
    return int("unmeasured" in table["status"].unique().to_pylist())


if __name__ == "__main__":
    sys.exit(main())
