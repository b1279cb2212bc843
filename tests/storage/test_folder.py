"""One server to a folder; who asks is told where it is."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from service.storage.database import open_database
from service.storage.folder import FolderInUse, FolderLock, holder_of


def test_a_second_server_is_refused_with_the_address_of_the_first(tmp_path: Path) -> None:
    with open_database(tmp_path, address="https://bench.local:8443"):
        with pytest.raises(FolderInUse, match=r"in use by a server at https://bench\.local:8443"):
            open_database(tmp_path, address="https://other.local")
        holder = holder_of(tmp_path)
        assert holder is not None
        assert (holder.address, holder.pid) == ("https://bench.local:8443", os.getpid())
        open_database(tmp_path, read_only=True).close()
    assert holder_of(tmp_path) is None
    open_database(tmp_path).close()


def test_a_second_process_is_refused_too(tmp_path: Path) -> None:
    program = (
        "import sys; from service.storage.database import open_database\n"
        "from service.domain.refused import Refused\n"
        "try:\n    open_database(sys.argv[1])\n"
        "except Refused as error:\n    print(error)\n"
    )
    with open_database(tmp_path, address="http://127.0.0.1:8000"):
        done = subprocess.run(
            [sys.executable, "-c", program, str(tmp_path)],
            capture_output=True,
            text=True,
            check=True,
        )
    assert done.stdout == (
        f"The folder {tmp_path} is in use by a server at http://127.0.0.1:8000 "
        f"(process {os.getpid()}). Stop it first, or use it where it runs.\n"
    )


def test_a_lock_ends_with_its_process(tmp_path: Path) -> None:
    program = (
        "import os, sys; from pathlib import Path; from service.storage.folder import FolderLock\n"
        "FolderLock(Path(sys.argv[1])).acquire('http://gone'); os.kill(os.getpid(), 9)\n"
    )
    done = subprocess.run([sys.executable, "-c", program, str(tmp_path)], check=False)
    assert done.returncode == -9
    assert holder_of(tmp_path) is None
    FolderLock(tmp_path).acquire().release()


def test_a_command_that_writes_has_no_address(tmp_path: Path) -> None:
    with open_database(tmp_path):
        with pytest.raises(FolderInUse, match="in use by a command"):
            open_database(tmp_path)


def test_nobody_holds_a_folder_that_is_not_there(tmp_path: Path) -> None:
    assert holder_of(tmp_path / "none") is None
