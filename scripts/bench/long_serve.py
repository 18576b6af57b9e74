"""A page that is used for long, watched: does its memory stay flat, and does it close what it opens?

Starts `tragus serve` on a copy of a visit of the demo, asks it thousands of things as a browser does, by
turns: the page, the home screen, a visit, a moved landmark, its save, and now and then a photo that is
checked. Reads its memory and its open files from /proc (Linux) meanwhile.

    python long_serve.py target/release/tragus --count 5000
"""

import argparse
import http.client
import json
import os
import shutil
import subprocess
import tempfile
from pathlib import Path

DEMO = Path(__file__).resolve().parents[2] / "fixtures" / "demo" / "visits" / "2026-03-10-intake"
PHOTO = "side-right.jpg"
# One request in so many is a photo that the nets look at.
CHECK_ONE_IN = 25


class Page:
    def __init__(self, address):
        self.host, opening = address.removeprefix("http://").split("/", 1)
        self.cookie = None
        _, headers, _ = self.ask("GET", f"/{opening}")
        self.cookie = headers["set-cookie"].split(";")[0]

    def ask(self, method, path, body=None, **headers):
        connection = http.client.HTTPConnection(self.host, timeout=120)
        headers |= {"Origin": f"http://{self.host}"}
        if self.cookie:
            headers["Cookie"] = self.cookie
        connection.request(method, path, body, headers)
        answer = connection.getresponse()
        content = answer.read()
        connection.close()
        assert answer.status < 400, f"{method} {path}: {answer.status} {content[:200]}"
        return answer.status, answer.headers, content

    def json(self, method, path, value=None):
        return json.loads(self.ask(method, path, value and json.dumps(value))[2])


def state(pid):
    status = Path(f"/proc/{pid}/status").read_text()
    fields = dict(line.split(":", 1) for line in status.splitlines())
    return int(fields["VmRSS"].split()[0]) / 1000, len(os.listdir(f"/proc/{pid}/fd"))


def use(page, visit, count, told, pid):
    photo = (DEMO / PHOTO).read_bytes()
    known = page.json("GET", f"/api/visits/{visit}")
    from_, revision = None, known["revision"]
    for number in range(count + 1):
        if number % told == 0:
            resident, files = state(pid)
            print(f"{number:6} requests  {resident:6.0f} MB  {files:3} open files", flush=True)
        turn = number % 6
        if number % CHECK_ONE_IN == 0:
            page.ask("POST", "/api/checks?view=side", photo, **{"X-File-Name": PHOTO})
        elif turn == 0:
            page.ask("GET", "/")
        elif turn == 1:
            page.json("GET", "/api/home")
        elif turn == 2:
            page.json("GET", f"/api/visits/{visit}")
        elif turn == 3:
            page.ask("GET", f"/api/visits/{visit}/photos/0/picture")
        elif turn == 4:
            to = {"x": 200 + number % 100, "y": 210}
            edit = {"photo": 0, "landmark": "c7", "from": from_, "to": to}
            from_, revision = to, page.json("POST", f"/api/visits/{visit}/edits", edit)["revision"]
        else:
            page.json("POST", f"/api/visits/{visit}/save", {"revision": revision})


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("tragus", type=Path, help="the program")
    parser.add_argument("--count", type=int, default=5000, metavar="N", help="requests (default: 5000)")
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        for name in (PHOTO, "visit.json"):
            shutil.copy(DEMO / name, scratch)
        command = [args.tragus, "serve", scratch, "--diary", f"{scratch}/diary.json", "--port", "0", "--no-open"]
        program = subprocess.Popen(command, stderr=subprocess.PIPE, text=True)
        try:
            said = next(line for line in program.stderr if "http://127.0.0.1:" in line)
            address = next(word for word in said.split() if word.startswith("http://"))
            use(Page(address), "v1", args.count, max(1, args.count // 10), program.pid)
        finally:
            program.kill()
            program.wait()


if __name__ == "__main__":
    main()
