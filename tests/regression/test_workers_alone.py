"""Worker processes run nobody else's code: not that of the current folder, not that of another account.

What Python puts on the search path of a new process is described in its manual under "-P" and PYTHONSAFEPATH.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from fesplice.contracts import InputFault
from fesplice.study import run_study

HOSTILE = "open({flag!r}, 'a').write(__name__ + '\\n'); raise SystemExit('imported from the current folder')\n"
WORK = """
import operator, sys
from fesplice.study.description import Resources
from fesplice.study.schedule import carry_out
if __name__ == "__main__":
    print([answer for batch in carry_out(operator.add, {"a": (1, 2)}, Resources(workers=1)) for _, answer in batch])
"""


def trap(folder: Path) -> Path:
    """Modules that write into a file when somebody imports them from ``folder``."""
    flag = folder / "flag"
    for name in ("random.py", "types.py", "fesplice/__init__.py", "distributed/__init__.py"):
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_text(HOSTILE.format(flag=str(flag)))
    return flag


def test_workers_import_nothing_from_the_current_folder(tmp_path: Path) -> None:
    here, script = tmp_path / "here", tmp_path / "work.py"
    here.mkdir()
    flag = trap(here)
    script.write_text(WORK)
    done = subprocess.run(
        [sys.executable, "-P", str(script)], cwd=here, env=os.environ | {"OMP_NUM_THREADS": "1"}, capture_output=True,
        text=True, timeout=120, check=False,
    )  # fmt: skip
    assert not flag.exists(), flag.read_text()
    assert done.stdout.strip() == "[3]", done.stderr


STRANGER = """
from distributed import Client
from distributed.security import Security
from fesplice.study.description import Resources
from fesplice.study.schedule import _client
if __name__ == "__main__":
    with _client(Resources(workers=1)) as client:
        address = client.scheduler.address
        print(address.rpartition(":")[0])
        for other, keys in ((address.replace("tls://", "tcp://"), None), (address, Security.temporary())):
            try:
                Client(other, security=keys, timeout="2 s", set_as_default=False)
                print("let in")
            except OSError:
                print("turned away")
        print(client.submit(sum, [1, 2]).result(timeout=30))
"""


def test_a_client_without_the_keys_of_this_start_is_turned_away(tmp_path: Path) -> None:
    script = tmp_path / "stranger.py"
    script.write_text(STRANGER)
    done = subprocess.run(
        [sys.executable, "-P", str(script)], env=os.environ | {"OMP_NUM_THREADS": "1"}, capture_output=True, text=True,
        timeout=120, check=False,
    )  # fmt: skip
    assert done.stdout.split("\n") == ["tls://127.0.0.1", "turned away", "turned away", "3", ""], done.stderr


def test_a_scheduler_that_only_the_file_names_is_not_connected_to(tmp_path: Path) -> None:
    base = Path(__file__).resolve().parents[2] / "models" / "as29-100-u.toml"
    file = tmp_path / "study.toml"
    file.write_text(
        f'name = "x"\nbase = "{os.fspath(base)}"\nviews = "elevation"\n[grid]\n"bars.lap" = ["440 mm"]\n'
        '[resources]\nscheduler = "tcp://127.0.0.1:1"\n'
    )
    with pytest.raises(InputFault, match=r"resources\.scheduler = 'tcp://127\.0\.0\.1:1'.*--scheduler") as fault:
        run_study(file, tmp_path / "out")
    assert fault.value.exit_code == 2 and not (tmp_path / "out").exists()
