"""A worker for tests: a task's name says how it ends."""

from __future__ import annotations

import json
import os
import sys
import time

if __name__ == "__main__":
    work = json.loads(sys.stdin.buffer.readline())
    for line in sys.stdin.buffer:
        name = json.loads(line)["name"]
        if name.startswith("crash"):
            os._exit(9)
        if name.startswith("hang"):
            time.sleep(60)
        if name.startswith("half"):
            sys.stdout.write('{"name": ')
            sys.stdout.flush()
            os._exit(0)
        if name.startswith("tray"):
            for done in range(3):
                sys.stdout.write(json.dumps({"doing": [done, 3]}) + "\n")
        sys.stdout.write(json.dumps({"name": name, "by": os.getpid(), "work": work, "error": None}) + "\n")
        sys.stdout.flush()
